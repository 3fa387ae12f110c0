"""The outbox: notices that are to be sent, once each, however often the service starts again."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from monitor.store.entries import Letter, LetterState, Posted

MOST = 50  # letters given at a time; our choice: more than anybody sends in one go

_COLUMNS = "key, due_us, priority, subject, text, receiver, at_us, follows, state, attempts, why, tried_us"
_OPEN = "state IN ('waiting', 'sending', 'unsure')"


def put(connection: sqlite3.Connection, letters: Sequence[Letter]) -> None:
    """Put letters into the outbox; one whose key is there is left as it is."""
    connection.executemany(
        "INSERT OR IGNORE INTO outbox (key, due_us, priority, subject, text, receiver, at_us, follows)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [(x.key, x.due_us, x.priority, x.subject, x.text, x.to, x.at_us, x.after) for x in letters],
    )


def set_state(connection: sqlite3.Connection, keys: Sequence[str], state: LetterState, at_us: int, why: str) -> None:
    """What became of these letters; an attempt is counted when it begins."""
    connection.executemany(
        "UPDATE outbox SET state = ?, tried_us = ?, why = ?, attempts = attempts + ? WHERE key = ?",
        [(state, at_us, why or None, int(state == "sending"), key) for key in keys],
    )


def due(connection: sqlite3.Connection, to: str, now_us: int) -> list[Posted]:
    """Letters of a destination whose time has come and that are not settled, the longest due first."""
    return _read(
        connection, f"WHERE receiver = ? AND due_us <= ? AND {_OPEN} ORDER BY due_us, place LIMIT {MOST}", (to, now_us)
    )


def one(connection: sqlite3.Connection, key: str) -> Posted | None:
    """A letter, in whatever state."""
    return next(iter(_read(connection, "WHERE key = ?", (key,))), None)


def in_state(connection: sqlite3.Connection, state: LetterState, limit: int) -> list[Posted]:
    """The newest letters in a state."""
    return _read(connection, "WHERE state = ? ORDER BY place DESC LIMIT ?", (state, limit))


def counts(connection: sqlite3.Connection) -> dict[tuple[str, LetterState], int]:
    """How many letters of each destination are in each state."""
    rows = connection.execute("SELECT receiver, state, count(*) FROM outbox GROUP BY receiver, state")
    return {(to, state): int(count) for to, state, count in rows}


def troubles(connection: sqlite3.Connection) -> dict[str, str]:
    """What the last attempt at each destination met, where it met something."""
    rows = connection.execute("SELECT receiver, why, max(tried_us) FROM outbox GROUP BY receiver")
    return {to: why for to, why, _ in rows if why}


def _read(connection: sqlite3.Connection, where: str, values: tuple[object, ...]) -> list[Posted]:
    rows = connection.execute(f"SELECT {_COLUMNS} FROM outbox {where}", values)
    return [Posted(Letter(*row[:8]), *row[8:]) for row in rows]
