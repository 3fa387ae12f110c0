"""A port that can be unplugged: a pseudo-terminal behind a path that stays the same, as stable names of ports do."""

import os
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class Plug:
    """The device's end of a port; `path` is where a program opens it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._master = self._slave = -1

    def plug(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path.symlink_to(os.ttyname(self._slave))

    def send(self, data: bytes) -> None:
        while data:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                os.sched_yield()

    def unplug(self) -> None:
        if self._master >= 0:
            self.path.unlink()
            os.close(self._slave)
            os.close(self._master)
        self._master = self._slave = -1


@contextmanager
def plugged(folder: Path) -> Iterator[Plug]:
    plug = Plug(folder / "usb-logger-port0")
    plug.plug()
    try:
        yield plug
    finally:
        plug.unplug()


def rows(count: int, first: int = 0) -> bytes:
    """Lines of one sample a second."""
    start = 1_750_000_000 + first
    return b"".join(b"%d,12.%02d,-0.021\n" % (start + i, i % 100) for i in range(count))


HEAD = b"time,volts,amps\n"
START_US = 1_750_000_000_000_000
