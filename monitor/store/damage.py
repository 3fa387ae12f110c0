"""A damaged journal at the start: found out, moved aside as it is, and a new one begun with what can be read of it.

The new journal is complete under another name before the damaged one is moved, so a crash in between changes nothing.
"""

from __future__ import annotations

import shutil
import sqlite3
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from monitor.base.fields import EPOCH
from monitor.store import schema
from monitor.store.database import Connect, connect, open_writer
from monitor.store.disk import Disk
from monitor.store.entries import Damage
from monitor.store.home import Home
from monitor.store.salvage import salvage

DAMAGED_KEPT = 3  # damaged journals that are kept; our choice: they take space, and nobody reads the older ones
_STEPS_A_LOOK = 10_000  # instructions of SQLite between two looks at the clock; our choice


def open_mended(
    home: Home, disk: Disk, connect: Connect, clock_us: Callable[[], int], check_s: float
) -> tuple[sqlite3.Connection, Damage | None]:
    """The writing connection to a journal that is in order, and what was mended to have it."""
    new = home.folder / "journal.new"
    if not home.journal.exists() and new.exists():  # stopped after the damaged one was moved aside
        _set_aside(home, disk, _folder(home, clock_us))
        disk.rename(new, home.journal)
    for left in home.folder.glob("journal.new*"):
        disk.remove(left)
    why = fault(home.journal, check_s)
    if why is None:
        try:
            return open_writer(home.journal, connect), None
        except sqlite3.DatabaseError as wrong:
            if wrong.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
                raise
            why = str(wrong)
    damage = _begin_anew(home, disk, new, why, _folder(home, clock_us))
    return open_writer(home.journal, connect), damage


def fault(path: Path, check_s: float) -> str | None:
    """What is wrong with a journal, as far as `check_s` seconds of looking show; None: nothing."""
    if not path.exists() or not path.stat().st_size:
        return None
    connection = connect(f"{path.resolve().as_uri()}?mode=rw")
    ends = time.monotonic() + check_s
    try:
        connection.set_progress_handler(lambda: time.monotonic() > ends, _STEPS_A_LOOK)
        if schema.version_of(connection) > len(schema.STEPS):
            return None  # told when it is opened
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if schema.version_of(connection) and not there.issuperset(schema.TABLES):
            return "tables are missing"
        found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        return None if found == "ok" else _short(str(found))
    except sqlite3.DatabaseError as wrong:
        code = wrong.sqlite_errorcode & 0xFF
        if code == sqlite3.SQLITE_INTERRUPT:
            return None  # a large file: what is wrong deeper inside shows when it is read
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            return _short(str(wrong))
        raise
    finally:
        connection.close()


def _short(text: str) -> str:
    return " ".join(text.replace("*** in database main ***", "").split())[:120]


def _folder(home: Home, clock_us: Callable[[], int]) -> Path:
    moment = EPOCH + timedelta(microseconds=clock_us())
    return home.damaged / moment.strftime("%Y-%m-%dT%H%M%SZ")


def _begin_anew(home: Home, disk: Disk, new: Path, why: str, aside: Path) -> Damage:
    into = open_writer(new)
    try:
        samples, counts = salvage(home, into)
    finally:
        into.close()
    disk.sync(new)
    aside.mkdir(parents=True, exist_ok=True)
    _set_aside(home, disk, aside)
    disk.rename(new, home.journal)
    disk.sync(home.folder)
    for old in sorted(home.damaged.iterdir())[:-DAMAGED_KEPT]:
        shutil.rmtree(old, ignore_errors=True)
    return Damage(str(aside), why, samples, counts["event"], counts["ordered"], counts["outbox"])


def _set_aside(home: Home, disk: Disk, aside: Path) -> None:
    aside.mkdir(parents=True, exist_ok=True)
    for ending in ("", "-wal", "-shm"):
        old = home.journal.with_name(home.journal.name + ending)
        if old.exists():
            disk.rename(old, aside / old.name)
