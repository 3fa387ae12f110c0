"""Cursors: how far each sink has come in the stream, and what it would not have."""

from __future__ import annotations

import sqlite3

from monitor.store.entries import Cursor, Rejected

REJECTED_KEPT = 1000  # records kept a sink, the newest; our choice: all are counted, enough are there to be looked at
TEXT_KEPT = 2000  # characters of such a record; our choice


def cursor(connection: sqlite3.Connection, name: str) -> Cursor:
    """The sink's place; the beginning of the stream for one that is not known yet."""
    row = connection.execute(
        "SELECT position, moved_us, rejected, lost, state FROM cursor WHERE name = ?", (name,)
    ).fetchone() or (_oldest(connection), None, 0, 0, "")
    position, moved_us, rejected, lost, state = row
    return Cursor(name, position, moved_us, rejected, lost, _after(connection, position), state)


def cursors(connection: sqlite3.Connection) -> list[Cursor]:
    """All sinks' places."""
    names = connection.execute("SELECT name FROM cursor ORDER BY name").fetchall()
    return [cursor(connection, name) for (name,) in names]


def move(connection: sqlite3.Connection, name: str, position: int, lost: int, state: str, now_us: int) -> None:
    """All records up to `position` are dealt with; a cursor never goes back."""
    connection.execute(
        "INSERT INTO cursor (name, position, moved_us, lost, state) VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT (name)"
        " DO UPDATE SET position = max(position, ?2), moved_us = ?3, lost = lost + ?4, state = ?5",
        (name, position, now_us, lost, state),
    )


def reject(connection: sqlite3.Connection, rejected: Rejected) -> None:
    """Keep a record that the sink would not have, with its reason; the oldest gives way."""
    connection.execute(
        "INSERT INTO cursor (name, position, rejected) VALUES (?, 0, 1)"
        " ON CONFLICT (name) DO UPDATE SET rejected = rejected + 1",
        (rejected.sink,),
    )
    connection.execute(
        "INSERT INTO rejected (sink, position, at_us, what, why) VALUES (?, ?, ?, ?, ?)",
        (rejected.sink, rejected.position, rejected.at_us, rejected.what[:TEXT_KEPT], rejected.why[:TEXT_KEPT]),
    )
    connection.execute(
        "DELETE FROM rejected WHERE sink = ?1 AND rowid <= (SELECT rowid FROM rejected WHERE sink = ?1"
        " ORDER BY rowid DESC LIMIT 1 OFFSET ?2)",
        (rejected.sink, REJECTED_KEPT),
    )


def rejects(connection: sqlite3.Connection, name: str, limit: int) -> list[Rejected]:
    """The newest records that a sink would not have."""
    rows = connection.execute(
        "SELECT sink, position, at_us, what, why FROM rejected WHERE sink = ? ORDER BY rowid DESC LIMIT ?",
        (name, limit),
    )
    return [Rejected(*row) for row in rows]


def _oldest(connection: sqlite3.Connection) -> int:
    """Where a new sink begins: after the days that were deleted, which it cannot miss."""
    row = connection.execute("SELECT coalesce(max(last_position), 0) FROM day WHERE state = 2").fetchone()
    return int(row[0])


def _after(connection: sqlite3.Connection, position: int) -> int:
    """Records of samples and events after a position; those of closed days are counted as their positions."""
    row = connection.execute(
        "SELECT (SELECT count(*) FROM feed WHERE position > ?1 AND kind = 0)"
        " + (SELECT count(*) FROM event WHERE position > ?1)"
        " + (SELECT coalesce(sum(last_position - max(first_position - 1, ?1)), 0) FROM day"
        "    WHERE state = 1 AND last_position > ?1)",
        (position,),
    ).fetchone()
    return int(row[0])
