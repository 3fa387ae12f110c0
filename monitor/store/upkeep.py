"""What a store is tended by: closed days into the archive, deletion, thinning, a look for damage.

These run in a thread of their own. They read through a reader, write files beside the journal, and ask the keeper
(`do`) only for short writes, so samples never wait for them. A crash costs only the work: the next run finishes it.

Where the disk is short (less than `[store] spare` free) findings are always kept, no day is archived, and samples are
thinned (thin.py). What was thinned or deleted is counted, and the books say so.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Protocol, TypeVar

from monitor.base.errors import StoreError
from monitor.base.samples import SECOND_US
from monitor.base.tables.store import StoreTable
from monitor.store import schema
from monitor.store.archive import DAY_US, UNFINISHED, Rolled, day_name, day_path, write_day
from monitor.store.database import told
from monitor.store.disk import Disk
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader

T = TypeVar("T")
Write = Callable[[Home, int], Rolled]


class Do(Protocol):
    """Has the keeper's thread do something with the journal, and waits for its result."""

    def __call__(self, work: Callable[[Journal], T], /) -> T:
        """The result of `work`."""


def is_short(home: Home, policy: StoreTable, disk: Disk | None = None) -> bool:
    """Whether less than `spare` is free on the disk of the data."""
    return (disk or Disk()).free_bytes(home.folder) < policy.spare_bytes


def archived(home: Home, day: int, disk: Disk | None = None) -> Rolled:
    """Write a closed day's file; the journal does not know of it yet. Raises StoreError."""
    with JournalReader(home) as reader, told(home.archive, "written"):
        return write_day(reader.connection, home, disk or Disk(), day)


def roll_over(home: Home, policy: StoreTable, do: Do, disk: Disk | None = None, write: Write | None = None) -> str:
    """Archive the closed days and take their samples out of the journal; one sentence of what was done.

    write   writes a day's file; None: `archived`, here
    """
    disk = disk or Disk()
    _finish(home, do, disk)
    if is_short(home, policy, disk):
        return "no day archived: the disk is nearly full"
    done: list[str] = []
    with JournalReader(home) as reader:
        closed = reader.closed_days()
    for day in closed:
        do(_noted(write(home, day) if write else archived(home, day, disk)))
        done.append(day_name(day))
    _finish(home, do, disk)
    return f"archived {', '.join(done)}" if done else "no closed day to archive"


def retention(home: Home, policy: StoreTable, do: Do, now_us: int, disk: Disk | None = None) -> str:
    """Delete the archived days that are too old or too many, the oldest first; one sentence of what was done."""
    disk = disk or Disk()
    with JournalReader(home) as reader:
        days = reader.archived_days()
    total = home.journal.stat().st_size + sum(size for _, size in days)
    done: list[str] = []
    for day, size in days:
        too_old = (day + 1) * DAY_US < now_us - policy.keep_s * SECOND_US
        if not too_old and total <= policy.most_bytes:
            break
        do(_gone(day))
        total -= size
        done.append(day_name(day))
    _finish(home, do, disk)
    if not done:
        return "nothing is older or more than [store] keeps"
    return f"deleted the samples of {done[0]}" + (f" to {done[-1]} ({len(done)} days)" if len(done) > 1 else "")


def relieve(home: Home, policy: StoreTable, do: Do, disk: Disk | None = None) -> str:
    """Thin samples where the disk is short, all that may be; one sentence of what was done."""
    if not is_short(home, policy, disk):
        return "the disk has room"
    taken, more = 0, True
    while more:
        some, more = do(lambda journal: journal.thin())
        taken += some
    return f"the disk is nearly full; {taken:,} samples thinned away"


def integrity(home: Home) -> str:
    """Look through the whole journal; one sentence, or StoreError (damaged)."""
    with JournalReader(home) as reader, told(home.journal, "checked"):
        found = str(reader.connection.execute("PRAGMA quick_check(1)").fetchone()[0])
    if found != "ok":
        raise StoreError(
            f"{home.journal}: damaged: {found}",
            "restart the service: it moves the damaged journal aside and keeps what can be read",
            "damaged",
        )
    return "the journal is sound"


def _finish(home: Home, do: Do, disk: Disk) -> None:
    """Carry to its end what was begun: samples of archived days, files of deleted days, unfinished files."""
    while do(lambda journal: journal.forget()):
        pass
    with JournalReader(home) as reader:
        deleted = _deleted(reader.connection)
    with told(home.archive, "written"):
        for day in deleted:
            disk.remove(day_path(home, day))
        for part in home.archive.glob(f"*{UNFINISHED}"):
            disk.remove(part)


def _noted(rolled: Rolled) -> Callable[[Journal], None]:
    return lambda journal: journal.note_archived(rolled)


def _gone(day: int) -> Callable[[Journal], None]:
    return lambda journal: journal.note_deleted(day)


def _deleted(connection: sqlite3.Connection) -> list[int]:
    return [day for (day,) in connection.execute("SELECT day FROM day WHERE state = ?", (schema.GONE,))]
