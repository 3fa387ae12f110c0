"""What other threads and processes see of the journal: read only, each look short, never in the writer's way."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager

from monitor.base.alarms import Alarm
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.samples import Block
from monitor.store import cursors, outbox, schema, trim
from monitor.store.archive import DAY_US, DayFile
from monitor.store.database import glance, open_reader, told
from monitor.store.entries import Cursor, Event, LetterState, Ordered, Page, Posted, Rejected
from monitor.store.home import Home
from monitor.store.journal import stored_books
from monitor.store.stream import OpenDay, Stream, head


class JournalReader:
    """A look at one vehicle's journal and archive. Raises StoreError: missing, newer, damaged, …

    Used by one thread at a time; each thread opens its own. `archived` opens days' files in place of this process.
    """

    def __init__(self, home: Home, archived: OpenDay = DayFile) -> None:
        self.home = home
        self.connection = open_reader(home.journal)
        self._stream = Stream(self.connection, home, archived)

    @contextmanager
    def _looking(self) -> Iterator[None]:
        with told(self.home.journal, "read"):
            yield

    def position(self) -> int:
        """Position of the newest record."""
        with self._looking():
            return head(self.connection)

    def last_sample_us(self) -> int | None:
        """Time of the newest sample; None: none yet."""
        with self._looking():
            row = self.connection.execute(
                "SELECT last_us FROM feed WHERE kind = 0 ORDER BY position DESC LIMIT 1"
            ).fetchone()
            if row is not None:
                return int(row[0])
            known = self.fact("last_us")
            return None if known is None else int(known)

    def samples_since(self, day_us: int) -> int:
        """Samples in the journal from that midnight UTC on."""
        with self._looking():
            first = self.connection.execute(
                "SELECT min(first_position) FROM day WHERE day >= ?", (day_us // DAY_US,)
            ).fetchone()[0]
            if first is None:
                return 0
            return int(
                self.connection.execute(
                    "SELECT coalesce(sum(count), 0) FROM feed WHERE position >= ? AND kind = 0", (first,)
                ).fetchone()[0]
            )

    def events(
        self, after: int = -1, *, since_us: int | None = None, kind: str | None = None, limit: int | None = None
    ) -> list[Event]:
        """Events whose number is larger than `after`, not before a time, of a kind; in order of number."""
        with self._looking():
            rows = self.connection.execute(
                "SELECT position, number, kind, t_us, body FROM event WHERE number > ?1 AND (?2 IS NULL OR kind = ?2)"
                " AND t_us >= ?3 ORDER BY number LIMIT ?4",
                (after, kind, -(1 << 62) if since_us is None else since_us, -1 if limit is None else limit),
            )
            return [Event(*row) for row in rows]

    def open_alarms(self) -> list[Alarm]:
        """Alarms that are not both normal and acknowledged, as they stood at their last step, by limit."""
        with self._looking():
            rows = self.connection.execute("SELECT body FROM alarm ORDER BY name").fetchall()
        return [Alarm.model_validate(json.loads(body)["alarm"]) for (body,) in rows]

    def letters(self, to: str, now_us: int) -> list[Posted]:
        """Letters of a destination whose time has come and that are not settled, the longest due first."""
        with self._looking():
            return outbox.due(self.connection, to, now_us)

    def letter(self, key: str) -> Posted | None:
        """A letter, in whatever state."""
        with self._looking():
            return outbox.one(self.connection, key)

    def letters_in(self, state: LetterState, limit: int = 100) -> list[Posted]:
        """The newest letters in a state."""
        with self._looking():
            return outbox.in_state(self.connection, state, limit)

    def letter_counts(self) -> dict[tuple[str, LetterState], int]:
        """How many letters of each destination are in each state."""
        with self._looking():
            return outbox.counts(self.connection)

    def letter_troubles(self) -> dict[str, str]:
        """What the last attempt at each destination met, where it met something."""
        with self._looking():
            return outbox.troubles(self.connection)

    def cursor(self, name: str) -> Cursor:
        """A sink's place; the oldest record still there for one that is not known yet."""
        with self._looking(), glance(self.connection):
            return cursors.cursor(self.connection, name)

    def cursors(self) -> list[Cursor]:
        """All sinks' places and how far behind they are."""
        with self._looking(), glance(self.connection):
            return cursors.cursors(self.connection)

    def rejected(self, name: str, limit: int = 100) -> list[Rejected]:
        """The newest records that a sink would not have."""
        with self._looking():
            return cursors.rejects(self.connection, name, limit)

    def page(self, after: int, limit: int = 1000, together: bool = False) -> Page:
        """Samples, orders and events after a position, in the order they were committed; also from the archive.

        A sink reads from its cursor's position, hands the records on, then has the keeper `move` its cursor to the
        page's `end` with the page's `lost`. Positions only grow, and a record keeps its own for ever. What is read
        twice (a crash before `move`) is the same, so a sink that overwrites by time loses and doubles nothing.

        together   samples of up to `limit` records lie in few, each at the place of its last; up to as many events and
                   orders beside them
        """
        with self._looking():
            return self._stream.page(after, limit, together)

    def orders(self, limit: int = 100) -> list[Ordered]:
        """The newest orders and what became of them."""
        with self._looking():
            rows = self.connection.execute(
                "SELECT body, outcome FROM ordered ORDER BY position DESC LIMIT ?", (limit,)
            ).fetchall()
        return [Ordered(Order.model_validate_json(body), outcome) for body, outcome in rows]

    def outcome(self, order_id: str) -> Ordered | None:
        """An order and what became of it; None: not carried out yet."""
        with self._looking():
            row = self.connection.execute("SELECT body, outcome FROM ordered WHERE id = ?", (order_id,)).fetchone()
        return None if row is None else Ordered(Order.model_validate_json(row[0]), row[1])

    def books(self) -> Ledger:
        """The books of input; samples that the journal had to give up are refused ones here, under their reason.

        Deletion by age or size is no such loss; `lost` counts it.
        """
        with self._looking(), glance(self.connection):
            books = stored_books(self.connection)
        for reason, samples in self.lost().items():
            if reason != trim.DELETED:
                books.samples -= samples
                books.refuse(reason, count=samples)
        return books

    def lost(self, start_us: int | None = None, end_us: int | None = None) -> dict[str, int]:
        """Samples once taken in and not here any more, by reason, of the days that a span touches."""
        with self._looking():
            rows = self.connection.execute(
                "SELECT reason, sum(samples) FROM lost WHERE (?1 IS NULL OR (day + 1) * ?3 > ?1)"
                " AND (?2 IS NULL OR day * ?3 < ?2) GROUP BY reason ORDER BY reason",
                (start_us, end_us, DAY_US),
            )
            return {reason: int(samples) for reason, samples in rows}

    def last_ran(self, name: str) -> int | None:
        """When a scheduled job was last done; None: never."""
        with self._looking():
            row = self.connection.execute("SELECT ran_us FROM job WHERE name = ?", (name,)).fetchone()
            return None if row is None else int(row[0])

    def fact(self, name: str) -> str | None:
        """A single value that was noted; None: not known."""
        with self._looking():
            row = self.connection.execute("SELECT value FROM fact WHERE name = ?", (name,)).fetchone()
            return None if row is None else str(row[0])

    def blocks(self, start_us: int | None = None, end_us: int | None = None) -> Iterator[Block | int]:
        """Samples in [start_us, end_us) in large blocks; a number in between: so many there cannot be read any more."""
        with self._looking():
            yield from self._stream.blocks(start_us, end_us)

    def closed_days(self) -> list[int]:
        """Days in the journal that could be archived, the oldest first."""
        with self._looking():
            return trim.closed_days(self.connection)

    def archived_days(self) -> list[tuple[int, int]]:
        """Days in the archive and their bytes, the oldest first."""
        with self._looking():
            rows = self.connection.execute(
                "SELECT day, bytes FROM day WHERE state = ? ORDER BY day", (schema.ARCHIVED,)
            )
            return [(int(day), int(size)) for day, size in rows]

    def close(self) -> None:
        """Close."""
        self._stream.close()
        self.connection.close()

    def __enter__(self) -> JournalReader:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
