"""A scripted SCPI instrument for tests, behind a socket or a pseudo-terminal."""

from __future__ import annotations

import os
import select
import socket
import threading
import tty
from collections.abc import Callable

IDENTITY = "INVENTED,METER 1,0001,1.0"
UNKNOWN = '-113,"Undefined header"'
HANG_UP = b"\x00hang up"


class Instrument:
    """Answers queries from `replies` until closed; what it does not know goes to its error queue.

    A reply is text (sent with its line end), bytes (sent as they are; HANG_UP closes the connection) or a function.
    `mute` answers nothing at all.
    """

    def __init__(self, serial: bool = False, **replies: str) -> None:
        self.replies: dict[str, str | bytes | Callable[[], str | bytes]] = {
            "*IDN?": IDENTITY,
            "MEASure:VOLTage:DC?": "+1.26500000E+01",
            **replies,
        }
        self.mute = False
        self.heard: list[str] = []
        self.errors: list[str] = []
        self._wake, self._end = os.pipe()
        self._master = self._slave = -1
        self._server: socket.socket | None = None
        if serial:
            self._master, self._slave = os.openpty()
            tty.setraw(self._slave)
            self.url = f"scpi+serial:{os.ttyname(self._slave)}"
        else:
            self._server = socket.create_server(("127.0.0.1", 0))
            self.url = f"scpi+socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._thread = threading.Thread(target=self._run, name="scpi-instrument")
        self._thread.start()

    def __enter__(self) -> Instrument:
        return self

    def __exit__(self, *exc: object) -> None:
        os.write(self._end, b"x")
        self._thread.join(10)
        if self._server is not None:
            self._server.close()
        for port in (self._master, self._slave, self._wake, self._end):
            if port >= 0:
                os.close(port)

    def _run(self) -> None:
        if self._server is None:
            self._speak(lambda: os.read(self._master, 4096), lambda data: os.write(self._master, data), self._master)
            return
        while self._ready(self._server.fileno()):
            link, _ = self._server.accept()
            with link:
                self._speak(lambda: link.recv(4096), link.sendall, link.fileno())  # noqa: B023 - used up before the loop goes on

    def _ready(self, port: int) -> bool:
        return self._wake not in select.select([port, self._wake], [], [], 60)[0]

    def _speak(self, read: Callable[[], bytes], write: Callable[[bytes], object], port: int) -> None:
        got = b""
        try:
            while self._ready(port):
                data = read()
                if not data:
                    return
                *lines, got = (got + data).split(b"\n")
                for line in lines:
                    reply = self._answer(line.decode())
                    if reply == HANG_UP:
                        return
                    write(reply)
        except OSError:
            return

    def _answer(self, line: str) -> bytes:
        self.heard.append(line)
        if self.mute:
            return b""
        if line == "*CLS":
            self.errors.clear()
            return b""
        if line == "SYSTem:ERRor?":
            return (self.errors.pop(0) if self.errors else '0,"No error"').encode() + b"\n"
        reply = self.replies.get(line)
        if reply is None:
            self.errors.append(UNKNOWN)
            return b""
        if callable(reply):
            reply = reply()
        return reply if isinstance(reply, bytes) else reply.encode() + b"\n"
