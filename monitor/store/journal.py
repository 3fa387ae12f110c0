"""The journal: what one vehicle's service has acknowledged, in one SQLite file with one writer.

Samples and orders are the truth; everything else is derived from them by the watch, which is deterministic. So the
journal keeps the watch's state only now and then (a checkpoint), and after a crash feeds it again what came since:
the same events come out, under the same numbers, and nothing is told twice.

All methods are called by one thread (the keeper's). Other threads and processes read through `reader.JournalReader`.
"""

from __future__ import annotations

import json
import sqlite3
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.samples import Block
from monitor.store import codec, cursors, outbox, schema, trim
from monitor.store.archive import DAY_US, Rolled, day_of
from monitor.store.damage import open_mended
from monitor.store.database import Connect, connect, told, transaction
from monitor.store.disk import Disk
from monitor.store.entries import (
    Cursor,
    Damage,
    Entry,
    Event,
    Given,
    Letter,
    LetterState,
    Ordered,
    Page,
    Posted,
    Rejected,
    Resume,
    Samples,
)
from monitor.store.home import Home
from monitor.store.lock import WriterLock
from monitor.store.stream import Stream, head

__all__ = [
    "Cursor", "Damage", "Entry", "Event", "Given", "Journal", "Letter", "LetterState", "Ordered", "Page", "Posted",
    "Rejected", "Resume", "Samples",
]  # fmt: skip

CHECKPOINTS_KEPT = 2  # the newest, and one should that be unreadable
CHECK_S = 10.0  # seconds spent at the start on looking for damage; our choice: a gigabyte on a small computer

BOOKS: TypeAdapter[Ledger] = TypeAdapter(Ledger)


def wall_us() -> int:
    """Microseconds since 1970-01-01 UTC, of this computer's clock."""
    return time.time_ns() // 1000


class Journal:
    """The one writer. Raises StoreError (disk full, read only, another writer) with what to do.

    damage    what was found and saved when the file was damaged at the start; None: it was in order
    position  of the newest record
    """

    def __init__(
        self,
        home: Home,
        *,
        connect: Connect = connect,
        disk: Disk | None = None,
        clock_us: Callable[[], int] = wall_us,
        check_s: float = CHECK_S,
    ) -> None:
        self.home = home
        self._disk = disk or Disk()
        self._clock_us = clock_us
        with told(home.folder, "opened for writing"):
            home.folder.mkdir(parents=True, exist_ok=True)
            self._lock = WriterLock(home.lock)
        try:
            with told(home.journal, "opened for writing"):
                self._connection, self.damage = open_mended(home, self._disk, connect, clock_us, check_s)
            self._stream = Stream(self._connection, home)
            with self._doing("read"):
                self._load()
        except BaseException:  # whatever it was: the lock is let go
            self._lock.close()
            raise

    def _load(self) -> None:
        fetch = self._connection.execute
        self.position = max(head(self._connection), int(self.fact("reserved_position") or 0))
        newest = fetch("SELECT last_us FROM feed WHERE kind = 0 ORDER BY position DESC LIMIT 1").fetchone()
        times = [int(t) for t in (self.fact("last_us"), newest and newest[0]) if t is not None]
        self._last_us = max(times, default=None)
        self._day = fetch("SELECT max(day) FROM day").fetchone()[0]
        self._channels = int(self.fact("channels") or 0)
        self._books = stored_books(self._connection)
        self._passed = self._books.samples
        self._next_event = self._after_events()

    @contextmanager
    def _doing(self, what: str) -> Iterator[None]:
        with told(self.home.journal, what):
            yield

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._doing("written"), transaction(self._connection):
            yield

    # --- what the service writes -----------------------------------------------------------------------------------

    def commit(self, entry: Entry) -> int:
        """Write all of it, or nothing; returns the position (a growing number) after it, once it is on the disk.

        ValueError for a block that is not later than all before.
        """
        position, last_us, day, channels = self.position, self._last_us, self._day, self._channels
        rows: list[tuple[int, int, int, int, int, bytes | None]] = []
        days: list[tuple[int, int]] = []
        if entry.block is not None and len(entry.block):
            if last_us is not None and int(entry.block.t_us[0]) <= last_us:
                raise ValueError("the samples of a block must be later than all before")
            last_us = int(entry.block.t_us[-1])
            for part in _by_day(entry.block):
                position += 1
                first, last = int(part.t_us[0]), int(part.t_us[-1])
                rows.append((position, schema.BLOCK, first, last, len(part), codec.encode(part)))
                if day_of(first) != day:
                    day = day_of(first)
                    days.append((day, position))
            channels |= codec.channels_of(entry.block)
        if entry.advance_us is not None:
            position += 1
            rows.append((position, schema.ADVANCE, entry.advance_us, entry.advance_us, 0, None))
        with self._writing():
            for order in entry.orders:
                position += self._order(order, position + 1, rows)
            self._connection.executemany("INSERT INTO feed VALUES (?, ?, ?, ?, ?, ?)", rows)
            self._connection.executemany("INSERT INTO day (day, first_position) VALUES (?, ?)", days)
            next_event = self._next_event
            for number, kind, t_us, body in entry.events:
                if self._event(position + 1, number, kind, t_us, body):
                    position += 1
                    next_event = max(next_event, number + 1)
            outbox.put(self._connection, entry.letters)
            for key, outcome in entry.outcomes.items():
                self._connection.execute("UPDATE ordered SET outcome = ? WHERE id = ?", (outcome, key))
            if channels != self._channels:
                self._set_fact("channels", str(channels))
            passed = self._passed + (len(entry.block) if entry.block is not None else 0)
            books, passed = self._write_books(entry, position, passed)
            if entry.checkpoint is not None:
                # its own position, so that one follows another even where nothing was fed in between
                position += 1
                self._write_checkpoint(entry.checkpoint, position, next_event)
        self.position, self._last_us, self._day, self._channels = position, last_us, day, channels
        self._next_event, self._books, self._passed = next_event, books, passed
        return position

    def _order(self, order: Order, position: int, rows: list[Any]) -> int:
        """Note an order; 0 when it has been there before."""
        body = order.model_dump_json()
        done = self._connection.execute(
            "INSERT OR IGNORE INTO ordered (id, position, body) VALUES (?, ?, ?)", (order.id, position, body)
        )
        if not done.rowcount:
            return 0
        rows.append((position, schema.ORDER, order.at, order.at, 0, body.encode()))
        return 1

    def _event(self, position: int, number: int, kind: str, t_us: int, body: str) -> bool:
        """Note an event; False when its number has been there before."""
        done = self._connection.execute(
            "INSERT OR IGNORE INTO event VALUES (?, ?, ?, ?, ?)", (position, number, kind, t_us, body)
        )
        if not done.rowcount:
            return False
        if kind == "transition":
            alarm = json.loads(body)["alarm"]
            if alarm["state"] == "normal":
                self._connection.execute("DELETE FROM alarm WHERE name = ?", (alarm["limit"],))
            else:
                self._connection.execute(
                    "INSERT OR REPLACE INTO alarm VALUES (?, ?, ?)", (alarm["limit"], number, body)
                )
        return True

    def _write_books(self, entry: Entry, position: int, passed: int) -> tuple[Ledger, int]:
        """The books of input and their count of samples; written only where more than that count has changed."""
        if entry.ledger is None and entry.checkpoint is None:
            return self._books, passed
        given = entry.ledger if entry.ledger is not None else replace(self._books, samples=passed)
        changed = replace(given, samples=0) != replace(self._books, samples=0) or given.samples != passed
        if not changed and entry.checkpoint is None:
            return self._books, passed
        self._set_fact("books", json.dumps({"position": position, "books": BOOKS.dump_python(given, mode="json")}))
        return BOOKS.validate_json(BOOKS.dump_json(given)), given.samples

    def _write_checkpoint(self, state: dict[str, Any], position: int, next_event: int) -> None:
        self._connection.execute("DELETE FROM fact WHERE name = 'salvaged'")
        data = zlib.compress(json.dumps(state, separators=(",", ":")).encode(), 6)
        self._connection.execute("INSERT INTO checkpoint VALUES (?, ?, ?)", (position, next_event, data))
        self._connection.execute(
            "DELETE FROM checkpoint WHERE position NOT IN (SELECT position FROM checkpoint ORDER BY position DESC"
            " LIMIT ?)",
            (CHECKPOINTS_KEPT,),
        )

    # --- going on after a start ------------------------------------------------------------------------------------

    def resume(self, afresh_us: int | None = None) -> Resume:
        """Where to go on after a start.

        `afresh_us`: the checkpoint is of no use (the watch's `restore` raised ValueError, since another version wrote
        it): feed the watch all samples from this time on, and tell nothing of what it says meanwhile.
        """
        with self._doing("read"):
            fresh = afresh_us is not None or self.fact("salvaged") is not None
            state, since, first_event = None, self._stream.before(afresh_us), 0
            kept = self._connection.execute(
                "SELECT position, next_event, data FROM checkpoint ORDER BY position DESC"
            ).fetchall()
            for place, number, data in kept if afresh_us is None else []:
                with suppress(zlib.error, ValueError):  # the one before is as good, and only takes longer
                    state, since, first_event = json.loads(zlib.decompress(data)), place, number
                    break
            if kept and state is None:
                fresh = True
            if fresh:
                first_event = self._next_event
            return Resume(
                checkpoint=state,
                since=self._fed(since, self.position),
                first_event=first_event,
                next_event=self._next_event,
                last_event_us=self._connection.execute("SELECT max(t_us) FROM event WHERE number >= 0").fetchone()[0],
                last_us=self._last_us,
                ledger=replace(stored_books(self._connection), samples=self._passed),
                afresh=fresh,
            )

    def _fed(self, since: int, upto: int) -> Iterator[Block | int | Order]:
        with self._doing("read"):
            yield from self._stream.fed(since, upto)

    def _after_events(self) -> int:
        reserved = int(self.fact("reserved_event") or 0)
        newest = self._connection.execute(
            "SELECT coalesce(max(number) + 1, 0) FROM event WHERE number >= 0"
        ).fetchone()[0]
        return max(reserved, int(newest))

    def knows_order(self, order_id: str) -> bool:
        """Whether an order with this id has been committed."""
        with self._doing("read"):
            return self._connection.execute("SELECT 1 FROM ordered WHERE id = ?", (order_id,)).fetchone() is not None

    # --- the outbox ------------------------------------------------------------------------------------------------

    def letter_state(self, keys: Sequence[str], state: LetterState, at_us: int, why: str = "") -> None:
        """What became of these letters; an attempt is counted when it begins (state "sending")."""
        with self._writing():
            outbox.set_state(self._connection, keys, state, at_us, why)

    # --- sinks -----------------------------------------------------------------------------------------------------

    def move(
        self, name: str, position: int, lost: int = 0, state: str = "", rejected: Sequence[tuple[str, str]] = ()
    ) -> None:
        """The sink is done with everything up to `position` (a page's `end`).

        lost      samples that were gone before it came to them (a page's)
        state     what the sink wants to remember there
        rejected  (what, why) of each record that it would not have: kept with the reason, so that it holds up no other
        """
        with self._writing():
            now_us = self._clock_us()
            cursors.move(self._connection, name, position, lost, state, now_us)
            for what, why in rejected:
                cursors.reject(self._connection, Rejected(name, position, now_us, what, why))

    # --- jobs and facts --------------------------------------------------------------------------------------------

    def job_ran(self, name: str, when_us: int) -> None:
        """A job was done."""
        with self._writing():
            self._connection.execute("INSERT OR REPLACE INTO job VALUES (?, ?)", (name, when_us))

    def last_ran(self, name: str) -> int | None:
        """When a scheduled job was last done; None: never."""
        with self._doing("read"):
            row = self._connection.execute("SELECT ran_us FROM job WHERE name = ?", (name,)).fetchone()
            return None if row is None else int(row[0])

    def fact(self, name: str) -> str | None:
        """A single value that was noted; None: not known."""
        with self._doing("read"):
            row = self._connection.execute("SELECT value FROM fact WHERE name = ?", (name,)).fetchone()
            return None if row is None else str(row[0])

    def note_fact(self, name: str, value: str) -> None:
        """Note a single value, as a boot id or the logger's name."""
        with self._writing():
            self._set_fact(name, value)

    def _set_fact(self, name: str, value: str) -> None:
        self._connection.execute("INSERT OR REPLACE INTO fact VALUES (?, ?)", (name, value))

    def count_lost(self, t_us: int, reason: str, samples: int) -> None:
        """Samples that were acknowledged to nobody and are not here; the books of this time say so."""
        with self._writing():
            trim.count_lost(self._connection, day_of(t_us), reason, samples)

    # --- upkeep: short writes that upkeep.py asks for ---------------------------------------------------------------

    def note_archived(self, rolled: Rolled) -> None:
        """The day lies in the archive, and is read there from now on."""
        with self._writing():
            trim.archived(self._connection, rolled)

    def note_deleted(self, day: int) -> None:
        """The archived day is to be deleted, and read no more."""
        with self._writing():
            trim.gone(self._connection, day)

    def forget(self) -> int:
        """Delete some rows that nobody reads any more; 0: there are none left."""
        with self._writing():
            return trim.forget(self._connection)

    def thin(self) -> tuple[int, bool]:
        """Thin some samples; how many were taken away, and whether there may be more."""
        with self._writing():
            return trim.thin(self._connection)

    def close(self) -> None:
        """Close; what was committed is safe without it."""
        self._stream.close()
        self._connection.close()
        self._lock.close()


def stored_books(connection: sqlite3.Connection) -> Ledger:
    """The books of input as the service kept them, with the samples committed since they were last written."""
    row = connection.execute("SELECT value FROM fact WHERE name = 'books'").fetchone()
    if row is None:
        position, books = 0, Ledger()
    else:
        stored = json.loads(row[0])
        position, books = stored["position"], BOOKS.validate_python(stored["books"], strict=False)
    more = connection.execute(
        "SELECT coalesce(sum(count), 0) FROM feed WHERE position > ? AND kind = ?", (position, schema.BLOCK)
    ).fetchone()[0]
    books.samples += int(more)
    return books


def _by_day(block: Block) -> Sequence[Block]:
    """The block cut at midnight UTC, so that each record belongs to one day."""
    days = block.t_us // DAY_US
    cuts = (np.flatnonzero(np.diff(days)) + 1).tolist()
    return [block[a:b] for a, b in zip([0, *cuts], [*cuts, len(block)], strict=True)]
