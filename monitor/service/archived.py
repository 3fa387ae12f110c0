"""An archived day, read by short-lived processes: the library of Parquet is of use only to who is behind by days."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from monitor.service import aside
from monitor.store.archive import ArchivedDay, Columns

LONGEST_S = 120.0  # our choice: one row group takes a second, on a slow board several


class DayAside(ArchivedDay):
    """Raises ValueError where there is no readable file, StoreError where the process that should read it cannot."""

    def __init__(self, path: Path) -> None:
        sizes: list[int] | None = aside.call("monitor.store.archive:group_sizes", path, timeout_s=LONGEST_S)
        if sizes is None:
            raise ValueError(f"{path}: not there, or unreadable")
        super().__init__(sizes)
        self._path = path

    def _read(self, index: int) -> Columns:
        return cast("Columns", aside.call("monitor.store.archive:read_group", self._path, index, timeout_s=LONGEST_S))
