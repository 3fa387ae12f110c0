"""What the archive asks of the disk, in one place, so that a test can stop the world between two steps."""

from __future__ import annotations

import os
import shutil
from pathlib import Path


class Disk:
    """The real one."""

    def sync(self, path: Path) -> None:
        """The file or folder is on the medium when this returns."""
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def rename(self, old: Path, new: Path) -> None:
        """`new` is the old file or this one, never a half one."""
        old.replace(new)

    def remove(self, path: Path) -> None:
        """Delete a file, if it is there."""
        path.unlink(missing_ok=True)

    def free_bytes(self, folder: Path) -> int:
        """Space that is left for this user."""
        return shutil.disk_usage(folder).free
