"""Taking samples out of the journal: short writes, each harmless to stop after."""

from __future__ import annotations

import sqlite3

from monitor.store import codec, schema
from monitor.store.archive import Rolled, day_of
from monitor.store.thin import thinned

THINNED = "thinned: the disk was nearly full"
DELETED = "deleted: [store] keeps no more"
UNREADABLE = "damaged in the journal"

STEP = 2000  # rows changed in one go; our choice: some ten milliseconds, so that samples never wait long


def safe(connection: sqlite3.Connection) -> int:
    """Nothing up to this position is needed for a restart, even should the newest checkpoint be unreadable."""
    rows = connection.execute("SELECT position FROM checkpoint ORDER BY position DESC LIMIT 2").fetchall()
    return int(rows[-1][0]) if rows else 0


def closed_days(connection: sqlite3.Connection) -> list[int]:
    """Days in the journal that another day follows, and that no restart needs; the oldest first."""
    needed = safe(connection)
    rows = connection.execute(
        "SELECT day, (SELECT min(first_position) FROM day AS later WHERE later.day > day.day) FROM day"
        " WHERE state = ? ORDER BY day",
        (schema.OPEN,),
    )
    return [day for day, later in rows if later is not None and later <= needed + 1]


def count_lost(connection: sqlite3.Connection, day: int, reason: str, samples: int) -> None:
    """Samples of a day that were taken in and are not here any more; inside a transaction."""
    connection.execute(
        "INSERT INTO lost VALUES (?1, ?2, ?3) ON CONFLICT (day, reason) DO UPDATE SET samples = samples + ?3",
        (day, reason, samples),
    )


def archived(connection: sqlite3.Connection, rolled: Rolled) -> None:
    """The day lies in the archive, from now on it is read there; inside a transaction."""
    connection.execute(
        "UPDATE day SET state = ?, last_position = ?, samples = ?, bytes = ?, lay = ? WHERE day = ?",
        (schema.ARCHIVED, rolled.last_position, rolled.samples, rolled.size_bytes, rolled.lay, rolled.day),
    )
    if rolled.unreadable:
        count_lost(connection, rolled.day, UNREADABLE, rolled.unreadable)


def gone(connection: sqlite3.Connection, day: int) -> None:
    """The archived day is to be deleted: from now on nobody reads it; inside a transaction."""
    samples = connection.execute(
        "SELECT samples FROM day WHERE day = ? AND state = ?", (day, schema.ARCHIVED)
    ).fetchone()
    if samples is not None:
        connection.execute("UPDATE day SET state = ?, bytes = 0 WHERE day = ?", (schema.GONE, day))
        count_lost(connection, day, DELETED, samples[0])


def forget(connection: sqlite3.Connection) -> int:
    """Delete some rows that nobody reads any more; returns how many, 0: there are none left."""
    newest = connection.execute("SELECT max(last_position) FROM day WHERE state != ?", (schema.OPEN,)).fetchone()[0]
    return connection.execute(
        "DELETE FROM feed WHERE position IN (SELECT position FROM feed WHERE"
        " (kind = ? AND position <= ?) OR (kind = ? AND position <= ?) ORDER BY position LIMIT ?)",
        (schema.BLOCK, newest or 0, schema.ADVANCE, safe(connection), STEP),
    ).rowcount


def thin(connection: sqlite3.Connection) -> tuple[int, bool]:
    """Thin some samples that are not thinned yet; how many were taken away, and whether there may be more.

    Only samples before the older checkpoint: a restart feeds the watch exactly what it was fed before.
    """
    row = connection.execute("SELECT value FROM fact WHERE name = 'thinned'").fetchone()
    rows = connection.execute(
        "SELECT position, t_us, data FROM feed WHERE position > ? AND position <= ? AND kind = ?"
        " ORDER BY position LIMIT ?",
        (int(row[0]) if row else 0, safe(connection), schema.BLOCK, STEP),
    ).fetchall()
    taken = sum(_thin_one(connection, *row) for row in rows)
    if rows:
        connection.execute("INSERT OR REPLACE INTO fact VALUES ('thinned', ?)", (str(rows[-1][0]),))
    return taken, len(rows) == STEP


def _thin_one(connection: sqlite3.Connection, position: int, t_us: int, data: bytes) -> int:
    try:
        whole = codec.decode(data)
    except codec.DamagedBlockError:
        return 0
    left = thinned(whole)
    taken = len(whole) - len(left)
    if taken:
        connection.execute(
            "UPDATE feed SET count = ?, data = ? WHERE position = ?", (len(left), codec.encode(left), position)
        )
        count_lost(connection, day_of(t_us), THINNED, taken)
    return taken
