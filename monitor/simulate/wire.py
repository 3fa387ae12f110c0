"""Wires a virtual logger can talk on: a pseudo-terminal, a serial port, a TCP port on the loopback interface.

A wire waits a bounded time for a reader. Lines that fall due while nobody reads are lost, as with a real logger.
"""

from __future__ import annotations

import fcntl
import os
import select
import socket
import struct
import termios
import time
import tty
from contextlib import suppress
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit

from monitor.base.errors import SettingError

LOOPBACK = ("127.0.0.1", "localhost", "::1")
SEND_LIMIT_S = 10.0  # a reader that takes nothing for so long has stopped reading
DRAIN_LIMIT_S = 5.0  # at the end: for the reader to take what is still in the pseudo-terminal
READY_S = 0.3  # programs that open a serial port throw away what came before they had set it up
EMPTY_S = 0.3  # so long nothing may wait: the system hands on what it holds back only after a moment
LOOK_S = 0.02  # between two looks at a pseudo-terminal, which cannot tell by itself that a reader came
BAUD = termios.B115200


class Wire(Protocol):
    """Where the lines go."""

    name: str

    def listening(self) -> bool:
        """Whether somebody reads now; a new reader is counted in `readers`."""

    readers: int

    def send(self, data: bytes) -> bool:
        """Send all of `data`; False when the reader went away or takes nothing."""

    def close(self) -> None:
        """Let the reader take what was sent, for a bounded time, and close."""


def open_wire(target: str) -> Wire:
    """A wire from "pty", "tcp://127.0.0.1:PORT" (0: any free port) or a serial port's path; raises SettingError."""
    if target == "pty":
        return PtyWire()
    if "://" in target:
        return TcpWire(*_loopback(target))
    return PortWire(Path(target))


def _loopback(target: str) -> tuple[str, int]:
    try:
        parts = urlsplit(target)
        host, port = parts.hostname, parts.port
    except ValueError as wrong:
        raise SettingError(f"--live {target}: {wrong}", "write tcp://127.0.0.1:5025") from wrong
    if parts.scheme != "tcp" or host is None or port is None:
        raise SettingError(f"--live {target}: expected tcp://127.0.0.1:PORT", "write tcp://127.0.0.1:5025")
    if host not in LOOPBACK:
        raise SettingError(
            f"--live {target}: a virtual logger speaks to this computer only", f"write tcp://127.0.0.1:{port}"
        )
    return host, port


class PtyWire:
    """A pseudo-terminal: the reader opens `name` as if it were a serial port, and listens `ready_s` later."""

    def __init__(self, ready_s: float = READY_S) -> None:
        self._ready_s = ready_s
        self._master, slave = os.openpty()
        tty.setraw(slave)
        self.name = os.ttyname(slave)
        os.close(slave)  # with our own end closed, the master reports a hang-up until somebody opens it
        os.set_blocking(self._master, False)
        self.readers = 0
        self._opened: float | None = None

    def listening(self) -> bool:
        """Whether the other end is open and set up."""
        poll = select.poll()
        poll.register(self._master, 0)
        if any(event & select.POLLHUP for _, event in poll.poll(0)):
            self._opened = None
            return False
        if self._opened is None:
            self._opened = time.monotonic()
            self.readers += 1
        return time.monotonic() - self._opened >= self._ready_s

    def send(self, data: bytes) -> bool:
        """Write, waiting for room up to SEND_LIMIT_S."""
        return _write_all(self._master, data)

    def close(self) -> None:
        """Let the reader take everything, for at most DRAIN_LIMIT_S: closing discards what is left."""
        if self.listening():
            with suppress(OSError):
                self._drain()
        os.close(self._master)

    def _drain(self) -> None:
        deadline = time.monotonic() + DRAIN_LIMIT_S
        other = os.open(self.name, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)  # only the reader's end can be asked
        try:
            emptied = time.monotonic()
            while time.monotonic() < min(deadline, emptied + EMPTY_S):
                if _unread(other):
                    emptied = time.monotonic()
                time.sleep(LOOK_S)  # a pseudo-terminal tells nobody that its reader has taken what was sent
        finally:
            os.close(other)


class PortWire:
    """A real serial port, 115200 baud, 8N1, no flow control; somebody always listens."""

    def __init__(self, path: Path) -> None:
        self.name = str(path)
        self.readers = 1
        try:
            self._port = os.open(path, os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError as wrong:
            raise SettingError(
                f"--live {path}: cannot be opened: {wrong.strerror}", "name a serial port, pty, or tcp://127.0.0.1:5025"
            ) from wrong
        try:
            tty.setraw(self._port)
            settings = termios.tcgetattr(self._port)
            settings[4] = settings[5] = BAUD
            termios.tcsetattr(self._port, termios.TCSANOW, settings)
        except termios.error as wrong:
            os.close(self._port)
            raise SettingError(
                f"--live {path}: not a serial port", "name a serial port, pty, or tcp://127.0.0.1:5025"
            ) from wrong

    def listening(self) -> bool:
        """A port cannot tell."""
        return True

    def send(self, data: bytes) -> bool:
        """Write, waiting for room up to SEND_LIMIT_S."""
        return _write_all(self._port, data)

    def close(self) -> None:
        """Close the port."""
        os.close(self._port)


class TcpWire:
    """A listening TCP port on the loopback interface; one reader at a time."""

    def __init__(self, host: str, port: int) -> None:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        self._server = socket.socket(family, socket.SOCK_STREAM)
        self._server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._server.bind((host, port))
        except OSError as wrong:
            self._server.close()
            raise SettingError(
                f"--live tcp://{host}:{port}: {wrong.strerror}", "name another port; 0 takes any free one"
            ) from wrong
        self._server.listen(1)
        self._server.setblocking(False)
        self._reader: socket.socket | None = None
        self.name = f"tcp://{host}:{self._server.getsockname()[1]}"
        self.readers = 0

    def listening(self) -> bool:
        """Whether a reader is connected; takes the next one that waits."""
        if self._reader is not None and _gone(self._reader):
            self._forget()
        if self._reader is None:
            try:
                self._reader, _ = self._server.accept()
            except (BlockingIOError, ConnectionError):
                return False
            self._reader.settimeout(SEND_LIMIT_S)
            self.readers += 1
        return True

    def send(self, data: bytes) -> bool:
        """Send, waiting for room up to SEND_LIMIT_S."""
        if self._reader is None:
            return False
        try:
            self._reader.sendall(data)
        except OSError:
            self._forget()
            return False
        return True

    def close(self) -> None:
        """Close; the system delivers what was sent."""
        if self._reader is not None:
            with suppress(OSError):
                self._reader.shutdown(socket.SHUT_WR)
        self._forget()
        self._server.close()

    def _forget(self) -> None:
        if self._reader is not None:
            self._reader.close()
        self._reader = None


def _gone(reader: socket.socket) -> bool:
    """Whether the reader closed its end; what it says to us is read and ignored."""
    try:
        return bool(select.select([reader], [], [], 0)[0]) and reader.recv(4096) == b""
    except OSError:
        return True


def _write_all(port: int, data: bytes) -> bool:
    deadline = time.monotonic() + SEND_LIMIT_S
    while data:
        try:
            data = data[os.write(port, data) :]
            continue
        except BlockingIOError:
            pass
        except OSError:
            return False
        left = deadline - time.monotonic()
        if left <= 0:
            return False
        poll = select.poll()
        poll.register(port, select.POLLOUT)
        if any(event & (select.POLLHUP | select.POLLERR) for _, event in poll.poll(left * 1000)):
            return False
    return True


def _unread(port: int) -> int:
    """Bytes that wait in a terminal's input."""
    count = struct.unpack("i", fcntl.ioctl(port, termios.FIONREAD, struct.pack("i", 0)))[0]
    return int(count)
