"""Archived days that a new journal does not know of: found in the archive's folder and taken into the stream."""

from __future__ import annotations

import sqlite3
from datetime import date

from monitor.store import codec, schema
from monitor.store.archive import DAY_US, DayFile
from monitor.store.home import Home

_EPOCH_DAY = date(1970, 1, 1).toordinal()


def adopt_days(connection: sqlite3.Connection, home: Home) -> int:
    """Enter files of the archive that no day of the journal stands for, each as one record; returns how many.

    Inside a transaction.
    """
    found = 0
    connection.execute(
        "INSERT OR IGNORE INTO day (day, first_position)"
        f" SELECT t_us / {DAY_US}, min(position) FROM feed WHERE kind = {schema.BLOCK} GROUP BY 1"
    )
    for path in sorted(home.archive.glob("????-??-??.parquet")):
        try:
            day = date.fromisoformat(path.stem).toordinal() - _EPOCH_DAY
            with DayFile(path) as file:
                rows, bits = file.rows, file.bits
                last_us = int(file.slice(rows - 1, rows).t_us[0])
        except (OSError, ValueError, IndexError):
            continue  # no date, no Parquet or no rows: nothing of ours
        position = _place(connection, day)
        if position is None:
            continue
        connection.execute(
            "INSERT INTO day VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                day, position, position, rows, schema.ARCHIVED, path.stat().st_size,
                codec.pack_index([position], [rows], [bits]),
            ),
        )  # fmt: skip
        connection.execute(
            "INSERT INTO fact VALUES ('last_us', ?1) ON CONFLICT (name) DO UPDATE"
            " SET value = max(CAST(value AS INTEGER), ?1)",
            (last_us,),
        )
        found += 1
    return found


def _place(connection: sqlite3.Connection, day: int) -> int | None:
    """A position after all earlier days and before all later ones; None: the day is known, or there is none free."""
    if connection.execute("SELECT 1 FROM day WHERE day = ?", (day,)).fetchone():
        return None
    before = connection.execute("SELECT max(coalesce(last_position, 0)) FROM day WHERE day < ?", (day,)).fetchone()[0]
    after = connection.execute("SELECT min(first_position) FROM day WHERE day > ?", (day,)).fetchone()[0]
    lowest = (before or 0) + 1
    return lowest if after is None or lowest < after else None
