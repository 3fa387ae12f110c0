"""A serial port: pyserial sets it up, by path, so that a stable name finds the logger again wherever it is replugged.

The bytes are read from the descriptor: pyserial's own read loses what it has read already when the plug is pulled.
"""

from __future__ import annotations

import errno
import os
import select
import termios
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import serial

from monitor.sources.live.transport import COLLECT_S, MOST_BYTES, LinkError, code_of, told

BAUD = 115200  # our choice, where the URL says none: what small loggers mostly speak
BY_ID = Path("/dev/serial/by-id")
_TROUBLES = (OSError, ValueError, TypeError, termios.error)  # all that pyserial raises for a plug that is pulled


class SerialPort:
    """An open serial port; 8 data bits, no parity, one stop bit, no flow control. Nobody else may open it meanwhile."""

    old = False

    def __init__(self, path: str, baud: int = BAUD, rest: Callable[[float], None] = time.sleep) -> None:
        self._path = path
        self._rest = rest
        try:
            self._port = serial.Serial(path, baud, timeout=0, exclusive=True)
        except _TROUBLES as error:
            raise _refusal(path, baud, error) from None
        self._poll = select.poll()
        self._poll.register(self._port.fileno(), select.POLLIN)

    def read(self, timeout_s: float) -> bytes:
        """Bytes that have come."""
        try:
            events = self._poll.poll(timeout_s * 1000)
            if not events:
                return b""
            self._rest(COLLECT_S)
            data = os.read(self._port.fileno(), MOST_BYTES)
        except _TROUBLES as error:
            raise self._gone(told(error)) from None
        if data:
            return data
        if Path(self._path).exists() and not events[0][1] & (select.POLLHUP | select.POLLERR):
            raise LinkError(
                "port_taken",
                f"another program takes the logger's bytes: stop it (fuser -v {self._path} names it)",
            )
        raise self._gone("it hung up")

    def close(self) -> None:
        """Let go of the port."""
        with suppress(*_TROUBLES):
            self._port.close()

    def _gone(self, what: str) -> LinkError:
        return LinkError("unplugged", f"the port is gone ({what}): plug the logger in again; it is waited for")


def _refusal(path: str, baud: int, error: BaseException) -> LinkError:
    code = code_of(error)
    if code in (errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.EIO):
        here = _ports()
        others = f"; ports that are here: {', '.join(here)}" if here else ""
        return LinkError("unplugged", f"the port is not there: plug the logger in; it is waited for{others}")
    if code in (errno.EBUSY, errno.EAGAIN):
        return LinkError("port_taken", f"another program has the port: stop it (fuser -v {path} names it)")
    if code in (errno.EACCES, errno.EPERM):
        return LinkError("refused", f"not permitted: add this user to the port's group (ls -l {path} names it)")
    if code in (errno.ENOTTY, errno.EISDIR):
        return LinkError("refused", "it is no serial port: check [source] url")
    return LinkError("refused", f"it cannot be set up at {baud} baud ({told(error)}): check [source] url")


def _ports() -> list[str]:
    """Stable names of the ports that are plugged in, a few of them."""
    try:
        return sorted(str(port) for port in BY_ID.iterdir())[:3]
    except OSError:
        return []
