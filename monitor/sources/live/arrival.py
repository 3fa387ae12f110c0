"""What every live logger gives: whatever arrived since the last look, and how the link stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from monitor.sources.rows import Rows

LinkState = Literal[
    "opening",  # not yet spoken since the start
    "speaking",
    "silent",  # open, and nothing came for `silence`
    "unplugged",  # the device is gone
    "hung_up",  # the other end closed the connection
    "refused",  # cannot be opened or reached; why says more
    "port_taken",  # another program has the port
    "garbage",  # bytes come, but no lines of a log
    "wrong_speed",  # bytes come as they do at another baud rate
    "error",  # an instrument answers with errors
]


@dataclass(frozen=True, slots=True)
class Arrival:
    """One look at a logger.

    raw    bytes as they came, for the raw recording; b"" where the transport has none
    rows   what could be parsed of them, with the faults of what could not; None: nothing whole
    state  of the link now
    why    one sentence: what happened, and what to do, where the state is not "speaking"
    """

    raw: bytes
    rows: Rows | None
    state: LinkState
    why: str = ""


class LiveLogger(Protocol):
    """A logger that is read while it logs. It mends itself: closes, backs off, reopens, for ever.

    name   how messages call it, without secrets
    """

    name: str

    def poll(self, timeout_s: float) -> Arrival:
        """Wait up to `timeout_s` for more; never raises for what a logger, a cable or a network does."""

    def close(self) -> None:
        """Let go of the port; `poll` is not called again. May be called from another thread."""
