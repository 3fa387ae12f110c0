"""The folder of one vehicle's data, and what lies where in it."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from monitor.base.errors import SettingError

_SQLITE = b"SQLite format 3\0"


def slug(name: str) -> str:
    """The vehicle's name as the name of a folder.

    >>> slug("Estate car, blue"), slug("Grüner Bus 2")
    ('estate-car-blue', 'gruner-bus-2')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "unnamed"


@dataclass(frozen=True, slots=True)
class Home:
    """Where one vehicle's data lie.

    journal   SQLite: samples of the last days, findings, alarms, orders, outbox, cursors
    archive   one Parquet file a closed day of UTC, YYYY-MM-DD.parquet
    raw       raw bytes as they came from the logger, where [source] record asks for it
    inbox     orders from other processes, one file each, until the service has carried them out
    health    what each part of the service last did; written by the service, read by `keyoff status`
    damaged   journals that were moved aside
    lock      held by the one process that writes
    """

    folder: Path

    @property
    def journal(self) -> Path:
        """The journal's file."""
        return self.folder / "journal.db"

    @property
    def archive(self) -> Path:
        """Folder of closed days."""
        return self.folder / "archive"

    @property
    def raw(self) -> Path:
        """Folder of raw recordings."""
        return self.folder / "raw"

    @property
    def inbox(self) -> Path:
        """Folder of orders waiting."""
        return self.folder / "inbox"

    @property
    def health(self) -> Path:
        """The health file."""
        return self.folder / "health.json"

    @property
    def damaged(self) -> Path:
        """Folder of damaged journals."""
        return self.folder / "damaged"

    @property
    def lock(self) -> Path:
        """The writer's lock file."""
        return self.folder / "lock"

    @staticmethod
    def of(path: Path) -> Home:
        """The data folder that a path means: the folder itself, or its journal."""
        return Home(path.parent if path.name == "journal.db" else path)


def data_at(path: Path) -> Home | None:
    """The vehicle's data that a path means: its folder, its journal, or the folder above where that holds but one.

    A folder with files in it is one of logs. Raises SettingError where it holds several vehicles.
    """
    try:
        if not path.is_dir():
            with path.open("rb") as file:
                return Home(path.parent) if file.read(len(_SQLITE)) == _SQLITE else None
        if Home(path).journal.is_file():
            return Home(path)
        if any(child.is_file() for child in path.iterdir()):
            return None
        inside = sorted(journal.parent for journal in path.glob("*/journal.db"))
    except OSError:
        return None
    if len(inside) > 1:
        raise SettingError(f"{path}: the data of several vehicles", f"name one: {', '.join(map(str, inside))}")
    return Home(inside[0]) if inside else None
