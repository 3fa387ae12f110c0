"""Loggers behind a network: a plain TCP connection, and a serial port of another computer (RFC 2217)."""

from __future__ import annotations

import select
import socket
import termios
import time
import warnings
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import serial

from monitor.sources.live.serial_port import BAUD
from monitor.sources.live.transport import COLLECT_S, MOST_BYTES, LinkError, told

CONNECT_S = 3.0  # our choice: within a house or over a phone it is there by then


class TcpPort:
    """An open TCP connection. (pyserial's own loses what it has read already when the other end hangs up.)"""

    old = False

    def __init__(self, host: str, port: int, rest: Callable[[float], None] = time.sleep) -> None:
        self._rest = rest
        try:
            self._socket = socket.create_connection((host, port), timeout=CONNECT_S)
        except OSError as error:
            raise _unreachable(error) from None
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self._socket.setblocking(False)

    def read(self, timeout_s: float) -> bytes:
        """Bytes that have come."""
        try:
            if not select.select([self._socket], [], [], timeout_s)[0]:
                return b""
            self._rest(COLLECT_S)
            data = self._socket.recv(MOST_BYTES)
        except (OSError, ValueError) as error:
            raise _hung_up(told(error)) from None
        if not data:
            raise _hung_up("it closed the connection")
        return data

    def close(self) -> None:
        """Hang up."""
        with suppress(OSError):
            self._socket.close()


class RemotePort:
    """A serial port behind an RFC 2217 server, with pyserial's client."""

    old = False

    def __init__(self, host: str, port: int, baud: int = BAUD, rest: Callable[[float], None] = time.sleep) -> None:
        self._rest = rest
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)  # pyserial 3.5 names its thread the old way
                self._port: Any = serial.serial_for_url(f"rfc2217://{host}:{port}", baud, timeout=0)
        except (OSError, ValueError) as error:
            raise _unreachable(error) from None

    def read(self, timeout_s: float) -> bytes:
        """Bytes that have come; they wait in a queue, one by one, so a first one is waited for and the others taken."""
        try:
            self._port.timeout = timeout_s
            first = self._port.read(1)
            if not first:
                return b""
            self._rest(COLLECT_S)
            return bytes(first + self._port.read(min(self._port.in_waiting, MOST_BYTES)))
        except (OSError, ValueError, TypeError, termios.error) as error:
            raise _hung_up(told(error)) from None

    def close(self) -> None:
        """Hang up."""
        left_open = getattr(self._port, "_socket", None)  # by pyserial 3.5, when the other end hung up first
        with suppress(OSError, ValueError, TypeError):
            self._port.close()
        if left_open is not None:
            left_open.close()


def _unreachable(error: BaseException) -> LinkError:
    why = f"cannot be reached ({told(error)}): check that the logger is on, and [source] url; it is called again"
    return LinkError("refused", why)


def _hung_up(what: str) -> LinkError:
    return LinkError("hung_up", f"the other end hung up ({what}): check that the logger is on; it is called again")
