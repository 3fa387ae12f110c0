"""The journal's tables, and how an older journal becomes one of today: `STEPS` in order, counted in user_version.

feed        what was fed to the watch, in order: samples, time without samples, orders. Positions grow and are never
            used twice; events take theirs from the same sequence, so that both make one stream
event       what the watch said; `number` is the watch's own count
alarm       the last step of each alarm that is still open
day         days of UTC that have samples; once archived or deleted, how their samples lay in the stream
lost        samples that were in the journal and are no longer, by day and reason
checkpoint  the watch's state; the last two, should the last be unreadable
fact        single values: books of input, boot ids, the logger's name
"""

from __future__ import annotations

import sqlite3
from typing import Final

from monitor.base.errors import StoreError

BLOCK, ADVANCE, ORDER = 0, 1, 2  # feed.kind
OPEN, ARCHIVED, GONE = 0, 1, 2  # day.state

STEPS: Final = (
    """
    CREATE TABLE feed (
        position INTEGER PRIMARY KEY, kind INTEGER NOT NULL, t_us INTEGER NOT NULL, last_us INTEGER NOT NULL,
        count INTEGER NOT NULL, data BLOB
    );
    CREATE TABLE event (
        position INTEGER PRIMARY KEY, number INTEGER NOT NULL UNIQUE, kind TEXT NOT NULL, t_us INTEGER NOT NULL,
        body TEXT NOT NULL
    );
    CREATE INDEX event_time ON event (t_us);
    CREATE TABLE alarm (name TEXT PRIMARY KEY, number INTEGER NOT NULL, body TEXT NOT NULL) WITHOUT ROWID;
    CREATE TABLE ordered (
        id TEXT PRIMARY KEY, position INTEGER NOT NULL, body TEXT NOT NULL, outcome TEXT
    ) WITHOUT ROWID;
    CREATE TABLE outbox (
        place INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, due_us INTEGER NOT NULL, priority TEXT NOT NULL,
        subject TEXT NOT NULL, text TEXT NOT NULL, receiver TEXT NOT NULL, at_us INTEGER NOT NULL,
        follows TEXT NOT NULL, state TEXT NOT NULL DEFAULT 'waiting', attempts INTEGER NOT NULL DEFAULT 0, why TEXT,
        tried_us INTEGER
    );
    CREATE INDEX outbox_open ON outbox (receiver, due_us, place) WHERE state IN ('waiting', 'sending', 'unsure');
    CREATE TABLE cursor (
        name TEXT PRIMARY KEY, position INTEGER NOT NULL, moved_us INTEGER, rejected INTEGER NOT NULL DEFAULT 0,
        lost INTEGER NOT NULL DEFAULT 0, state TEXT NOT NULL DEFAULT ''
    ) WITHOUT ROWID;
    CREATE TABLE rejected (
        sink TEXT NOT NULL, position INTEGER NOT NULL, at_us INTEGER NOT NULL, what TEXT NOT NULL, why TEXT NOT NULL
    );
    CREATE INDEX rejected_sink ON rejected (sink);
    CREATE TABLE day (
        day INTEGER PRIMARY KEY, first_position INTEGER NOT NULL, last_position INTEGER, samples INTEGER,
        state INTEGER NOT NULL DEFAULT 0, bytes INTEGER NOT NULL DEFAULT 0, lay BLOB
    );
    CREATE TABLE lost (
        day INTEGER NOT NULL, reason TEXT NOT NULL, samples INTEGER NOT NULL, PRIMARY KEY (day, reason)
    ) WITHOUT ROWID;
    CREATE TABLE checkpoint (position INTEGER PRIMARY KEY, next_event INTEGER NOT NULL, data BLOB NOT NULL);
    CREATE TABLE job (name TEXT PRIMARY KEY, ran_us INTEGER NOT NULL) WITHOUT ROWID;
    CREATE TABLE fact (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
    """,
)
TABLES: Final = (
    "feed", "event", "alarm", "ordered", "outbox", "cursor", "rejected", "day", "lost", "checkpoint", "job", "fact",
)  # fmt: skip


def version_of(connection: sqlite3.Connection) -> int:
    """Steps that this journal has behind it."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def check_version(connection: sqlite3.Connection, name: str) -> None:
    """Raises StoreError when a later version of this program wrote the journal."""
    found = version_of(connection)
    if found > len(STEPS):
        raise StoreError(
            f"{name}: written by a later version of this program (journal {found}; this one knows {len(STEPS)})",
            "install that version again, or give the service another data folder",
            "newer",
        )


def migrate(connection: sqlite3.Connection, name: str) -> None:
    """Bring the journal to today's tables, each step whole or not at all; raises StoreError when it is newer."""
    check_version(connection, name)
    for done in range(version_of(connection), len(STEPS)):
        connection.executescript(f"BEGIN IMMEDIATE; {STEPS[done]} PRAGMA user_version = {done + 1}; COMMIT;")
