"""A file that another program writes: its lines from the beginning, and on as it grows, also after a rotation.

When the file is replaced by another that holds the same up to where we are (as a copy made anew each hour does),
reading goes on there; a file that is cut off, or another one, is read from its beginning.
"""

from __future__ import annotations

import errno
import os
import stat
import time
from collections.abc import Callable
from contextlib import suppress

from monitor.sources.live.transport import MOST_BYTES, READ_S, LinkError, told

_TAIL = 256  # bytes before our place that must be the same in a file that goes on; our choice: several lines
_LOOK_S = 0.25  # our choice: between two looks whether the file has been replaced


class GrowingFile:
    """Follows one path. It is one object for all openings, since it remembers its place."""

    def __init__(
        self, path: str, rest: Callable[[float], None] = time.sleep, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._path = path
        self._rest = rest
        self._clock = clock
        self._file: _Opened | None = None
        self._place = 0
        self._tail = b""
        self._there: int | None = None  # size of what was there when it was first seen
        self._looked = 0.0

    @property
    def old(self) -> bool:
        """Whether what was read last was there before this start."""
        return self._there is not None and 0 < self._place <= self._there

    def connect(self) -> GrowingFile:
        """Open the file at its path, at our place where it is the same log."""
        found = self._open()
        if self._there is None:
            self._there = found.size
        if not self._goes_on(found):
            self._there, self._place, self._tail = 0, 0, b""
        self._follow(found)
        return self

    def read(self, timeout_s: float) -> bytes:
        """What was written since; what was there before this start apart from what came later."""
        data = self._next()
        if not data and timeout_s > 0:
            self._rest(min(timeout_s, READ_S))
            data = self._next()
        if not data and self._clock() - self._looked >= _LOOK_S:
            self._looked = self._clock()
            data = self._switched()
        return data

    def close(self) -> None:
        """Close the file; its place is remembered."""
        if self._file is not None:
            self._file.close()
        self._file = None

    def _next(self) -> bytes:
        if self._file is None:
            raise LinkError("unplugged", "the file was closed")
        old = (self._there or 0) - self._place
        known = len(self._tail)
        data = self._file.at(self._place - known, known + (min(MOST_BYTES, old) if old > 0 else MOST_BYTES))
        if not data.startswith(self._tail):
            raise self._anew()
        data = data[known:]
        self._place += len(data)
        self._tail = (self._tail + data)[-_TAIL:]
        return data

    def _switched(self) -> bytes:
        """Look whether the path is another file by now; LinkError when it is read from its beginning."""
        try:
            found = self._open()
        except LinkError:
            return b""  # renamed or removed: whoever writes it may go on, and a new one is waited for
        if self._file is not None and self._file.inode == found.inode:
            found.close()
            return b""
        try:
            data = self._next()  # what was written before it was renamed
            if not data and not self._goes_on(found):
                raise self._anew()
        except LinkError:
            found.close()
            raise
        if data:
            found.close()
            return data
        self._follow(found)
        return b""

    def _anew(self) -> LinkError:
        return LinkError("opening", "the file was replaced or begun anew: it is read from its beginning")

    def _open(self) -> _Opened:
        try:
            return _Opened(self._path)
        except FileNotFoundError:
            why = "the file is not there: start the program that writes it; it is waited for"
            raise LinkError("refused", why) from None
        except OSError as error:
            raise LinkError("refused", f"it cannot be read ({told(error)}): check [source] url") from None

    def _goes_on(self, found: _Opened) -> bool:
        before = max(0, self._place - _TAIL)
        return found.size >= self._place and found.at(before, self._place - before) == self._tail

    def _follow(self, found: _Opened) -> None:
        self.close()
        self._file = found


class _Opened:
    """A file that is open, with its size when it was opened."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        state = os.fstat(self._descriptor)
        self.size = state.st_size
        self.inode = (state.st_dev, state.st_ino)
        if not stat.S_ISREG(state.st_mode):
            self.close()
            raise OSError(errno.EINVAL, "it is no file; a pipe is read as stdin:")

    def at(self, place: int, size: int) -> bytes:
        """Up to `size` bytes from `place` on."""
        try:
            return os.pread(self._descriptor, size, place)
        except OSError as error:
            why = f"the file cannot be read any more ({told(error)}): check the disk"
            raise LinkError("unplugged", why) from None

    def close(self) -> None:
        """Close it."""
        with suppress(OSError):
            os.close(self._descriptor)
