"""The demo logs: each scenario of a folder beside its log and truth."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from monitor.base.documents import load_document
from monitor.base.errors import SettingError
from monitor.simulate.files import write
from monitor.simulate.run import run
from monitor.simulate.scenario import Scenario

LOG_ENDING = ".csv.gz"  # opened by anything, and small at the demo logs' low rates


def make_demos(folder: Path, into: Path | None = None) -> Iterator[Path]:
    """Make log and truth of each scenario in `folder`, there or in `into`; yields each log's path when written."""
    scenarios = sorted(folder.glob("*.toml"))
    if not scenarios:
        raise SettingError(f"{folder}: no scenario (*.toml) there", "name a folder that holds scenario files")
    for path in scenarios:
        log = (into or folder) / (path.stem + LOG_ENDING)
        write(run(load_document(path, Scenario)), log)
        yield log
