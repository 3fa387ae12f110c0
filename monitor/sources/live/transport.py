"""What carries the bytes of a logger, and what can become of it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Protocol

from monitor.sources.live.arrival import LinkState

READ_S = 0.05  # our choice: a look may take so long; 20 a second cost little and delay nothing that a person sees
COLLECT_S = 0.02  # our choice: after the first byte, so that fast lines come in stretches and not byte by byte
MOST_BYTES = 64 * 1024


class LinkError(Exception):
    """A link that cannot be opened, or that broke: the state it is in, and why, with what to do."""

    def __init__(self, state: LinkState, why: str) -> None:
        super().__init__(why)
        self.state: LinkState = state
        self.why = why


class Transport(Protocol):
    """An open link."""

    @property
    def old(self) -> bool:
        """Whether what was read last was there before this start."""

    def read(self, timeout_s: float) -> bytes:
        """Bytes that have come, waiting up to `timeout_s` for the first of them; b"": none. Raises LinkError."""

    def close(self) -> None:
        """Let go; raises nothing."""


# Opens a link anew; raises LinkError.
Connect = Callable[[], Transport]


def told(error: BaseException) -> str:
    """What the system says of an error, in short.

    >>> told(OSError(13, "Permission denied"))
    'Permission denied'
    """
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return str(text).rstrip(".")


def code_of(error: BaseException) -> int | None:
    """The system's number of an error, which pyserial may hide behind the first argument or in the text."""
    code = getattr(error, "errno", None)
    if code is None and error.args and isinstance(error.args[0], int):
        code = error.args[0]
    if code is None and (found := re.search(r"\[Errno (\d+)\]|\((\d+), '", str(error))):
        code = int(found[1] or found[2])
    return code
