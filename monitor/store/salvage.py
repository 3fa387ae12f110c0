"""What can still be read of a damaged journal, into a new one: row by row, and page by page.

Each row is taken only if it is one that the journal could have written.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from typing import Any, Final

from monitor.base.orders import Order
from monitor.store import codec, scavenge, schema
from monitor.store.adopt import adopt_days
from monitor.store.archive import DAY_US, day_of
from monitor.store.database import PAGE_BYTES, connect, transaction
from monitor.store.home import Home

_FARTHEST = 1 << 40  # a leap over unreadable rows ends here
# Numbers that may have been given out and cannot be read any more are passed over; our choice: more than a week's.
_POSITIONS_SKIPPED, _EVENTS_SKIPPED = 1_000_000, 10_000

# each table with its key, and whether the key is a number that can be leapt over
_KEYS: Final = {
    "feed": ("position", True), "event": ("position", True), "day": ("day", True), "checkpoint": ("position", True),
    "rejected": ("rowid", True), "alarm": ("name", False), "ordered": ("id", False), "outbox": ("place", True),
    "cursor": ("name", False), "lost": ("day, reason", False), "job": ("name", False), "fact": ("name", False),
}  # fmt: skip


def salvage(home: Home, into: sqlite3.Connection) -> tuple[int, dict[str, int]]:
    """Copy all rows that can be read and are sound; returns samples, and rows by table."""
    connection = connect(f"{home.journal.resolve().as_uri()}?mode=ro")  # what was found stays as it was found
    try:
        with transaction(into):
            for table, (key, is_number) in _KEYS.items():
                for row in _readable(connection, table, key, is_number):
                    _take(into, table, row)
            adopt_days(into, home)
            _scavenge(home, into)
            _put_in_order(into)
            _reserve(into)
    finally:
        connection.close()
    counts = {table: into.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in _KEYS}
    samples = into.execute("SELECT coalesce(sum(count), 0) FROM feed").fetchone()[0]
    return int(samples), counts


def _take(into: sqlite3.Connection, table: str, row: tuple[Any, ...]) -> None:
    if _sound(table, row):
        marks = ", ".join("?" * len(row))
        into.execute(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", row)


def _scavenge(home: Home, into: sqlite3.Connection) -> None:
    """Samples, orders and findings in pages that nothing leads to; not those of days that have left the journal."""
    left = {day for (day,) in into.execute("SELECT day FROM day WHERE state != ?", (schema.OPEN,))}
    for rowid, columns in scavenge.rows(home.journal, PAGE_BYTES):
        row = (rowid, *columns[1:])
        if len(row) == 6 and row[1] == schema.BLOCK and isinstance(row[5], bytes):
            if isinstance(row[2], int) and day_of(row[2]) not in left:
                _take(into, "feed", row)
        elif len(row) == 6 and row[1] == schema.ORDER and isinstance(row[5], bytes) and _sound("feed", row):
            order = Order.model_validate_json(row[5])
            _take(into, "feed", row)
            _take(into, "ordered", (order.id, rowid, row[5].decode(), None))
        elif len(row) == 5 and isinstance(row[2], str) and isinstance(row[4], str) and isinstance(row[3], int):
            _take(into, "event", row)
    into.execute(
        "INSERT OR IGNORE INTO day (day, first_position)"
        f" SELECT t_us / {DAY_US}, min(position) FROM feed WHERE kind = {schema.BLOCK} GROUP BY 1"
    )


def _put_in_order(into: sqlite3.Connection) -> None:
    """Leave out samples that are not later than all before: an old copy of a page may hold such."""
    latest = -(1 << 62)
    wrong = []
    for position, first, last in into.execute(
        "SELECT position, t_us, last_us FROM feed WHERE kind = ? ORDER BY position", (schema.BLOCK,)
    ):
        if first <= latest:
            wrong.append((position,))
        latest = max(latest, last)
    into.executemany("DELETE FROM feed WHERE position = ?", wrong)


def _reserve(into: sqlite3.Connection) -> None:
    position = into.execute(
        "SELECT max(coalesce((SELECT max(position) FROM feed), 0), coalesce((SELECT max(position) FROM event), 0),"
        " coalesce((SELECT max(position) FROM cursor), 0))"
    ).fetchone()[0]
    event = into.execute("SELECT coalesce(max(number), 0) FROM event WHERE number >= 0").fetchone()[0]
    last = into.execute("SELECT max(last_us) FROM feed WHERE kind = 0").fetchone()[0]
    facts = {"salvaged": "yes", "reserved_position": position + _POSITIONS_SKIPPED}
    facts["reserved_event"] = event + _EVENTS_SKIPPED
    if last is not None:
        facts["last_us"] = last
    into.executemany("INSERT OR REPLACE INTO fact VALUES (?, ?)", [(k, str(v)) for k, v in facts.items()])


def _readable(connection: sqlite3.Connection, table: str, key: str, is_number: bool) -> Iterator[tuple[Any, ...]]:
    """Rows of a table that can be read: forward, over what cannot be read, and back to its other edge."""
    if not is_number:
        yield from _until_error(connection, f"SELECT * FROM {table} ORDER BY {key}", ())
        yield from _until_error(
            connection, f"SELECT * FROM {table} ORDER BY {', '.join(f'{k} DESC' for k in key.split(', '))}", ()
        )
        return
    ahead = f"SELECT {key}, * FROM {table} WHERE {key} >= ? ORDER BY {key}"
    back = f"SELECT {key}, * FROM {table} WHERE {key} < ? AND {key} > ? ORDER BY {key} DESC"
    at = -_FARTHEST
    while True:
        last = at - 1
        forward = _Watched(connection, ahead, (at,))
        for row in forward:
            last = row[0]
            yield row[1:]
        if not forward.met:
            return
        beyond = _first_beyond(connection, ahead + " LIMIT 1", max(last, at, 0))
        if beyond is None:
            return
        for row in _Watched(connection, back, (beyond[0], last)):
            yield row[1:]
        yield beyond[1:]
        at = beyond[0] + 1


def _first_beyond(connection: sqlite3.Connection, query: str, start: int) -> tuple[Any, ...] | None:
    """Some row after unreadable ones, found in leaps of growing length; None: there is none."""
    leap = 1
    while leap < _FARTHEST:
        for row in _Watched(connection, query, (start + leap,)):
            return row
        leap *= 2
    return None


class _Watched:
    """Rows of a query up to the first that cannot be read; `met` says whether one could not."""

    def __init__(self, connection: sqlite3.Connection, query: str, values: tuple[Any, ...]) -> None:
        self._ask = (connection, query, values)
        self.met = False

    def __iter__(self) -> Iterator[tuple[Any, ...]]:
        connection, query, values = self._ask
        try:
            yield from connection.execute(query, values)
        except (sqlite3.DatabaseError, UnicodeDecodeError):
            self.met = True


def _until_error(connection: sqlite3.Connection, query: str, values: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
    yield from _Watched(connection, query, values)


def _sound(table: str, row: tuple[Any, ...]) -> bool:
    """Whether a row is one that the journal could have written."""
    try:
        if table == "feed" and row[1] == schema.BLOCK:
            block = codec.decode(row[5])
            return bool(len(block) == row[4] and int(block.t_us[-1]) == row[3])
        if table == "feed" and row[1] == schema.ORDER:
            Order.model_validate_json(row[5])
        if table == "ordered":
            Order.model_validate_json(row[2])
        if table == "event":
            json.loads(row[4])
    except (ValueError, TypeError):
        return False
    return True
