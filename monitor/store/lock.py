"""One writer a data folder: a lock file that names its holder, and that the end of a process lets go of."""

from __future__ import annotations

import errno
import fcntl
import os
from pathlib import Path

from monitor.base.errors import StoreError


class WriterLock:
    """Holds `path` until `close`; raises StoreError (held) naming the process that has it."""

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as wrong:
            holder = os.pread(self._file, 32, 0).decode("ascii", "replace").strip()
            os.close(self._file)
            if wrong.errno not in (errno.EAGAIN, errno.EACCES):
                raise
            who = f"process {holder}" if holder else "another process"
            raise StoreError(
                f"{path.parent}: {who} already writes this vehicle's data",
                "stop that service first, or give this one another data folder",
                "held",
            ) from None
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, f"{os.getpid()}\n".encode(), 0)

    def close(self) -> None:
        """Let go."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
