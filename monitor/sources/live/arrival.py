"""What every live logger gives: whatever arrived since the last look, and how the link stands."""

from __future__ import annotations

from collections.abc import Callable
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

    raw    whole lines as they came, for the raw recording, which is a log to replay; lines without a time that stands
           on its own carry the one we gave them. b"" where the transport has none
    rows   what could be parsed of them, with the faults of what could not; None: nothing whole
    state  of the link now
    why    one sentence: what happened, and what to do, where the state is not "speaking"; where it is, an assumption
           made about the log that a person should know, as a rule none
    stamped      the times of these rows are those of this computer
    clock_steps  (µs UTC after it, seconds) of each step by which this computer's clock was set
    again        the rows were there before this start (a file is read from its beginning): what the journal has of
                 them is neither news nor a step of the clock
    paced        the logger is asked at its own times: the next look may follow at once
    stored       to be called, from any thread, once the journal has these rows; None: nobody waits for it
    head         the line that names the columns, for a recording that begins here; b"" where there is none
    """

    raw: bytes
    rows: Rows | None
    state: LinkState
    why: str = ""
    stamped: bool = False
    clock_steps: tuple[tuple[int, float], ...] = ()
    again: bool = False
    paced: bool = False
    head: bytes = b""
    stored: Callable[[], None] | None = None


class LiveLogger(Protocol):
    """A logger that is read while it logs. It mends itself: closes, backs off, reopens, for ever.

    name   how messages call it, without secrets
    """

    name: str

    def poll(self, timeout_s: float) -> Arrival:
        """Wait up to `timeout_s` for more; never raises for what a logger, a cable or a network does."""

    def close(self) -> None:
        """Let go of the port; `poll` is not called again. May be called from another thread."""
