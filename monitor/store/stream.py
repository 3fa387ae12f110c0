"""The journal as one stream of records in the order they were committed, closed days read from the archive.

Archived and deleted days always lie before those still in the journal, because days are rolled and deleted in order;
so a position is looked for among them first. Each read is short, and holds no lock while the archive is read.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

from monitor.base.orders import Order
from monitor.base.samples import Block, Ints
from monitor.store import codec, schema
from monitor.store.archive import DAY_US, ArchivedDay, DayFile, day_of, day_path, joined
from monitor.store.database import glance
from monitor.store.entries import Event, Given, Page, Record, Samples
from monitor.store.home import Home

OpenDay = Callable[[Path], ArchivedDay]

BULK_ROWS = 65_536  # samples of one block when nobody asks for single records; our choice: what replay is fast with
PAGE_TIMES = 4  # a page spans so many positions for each record asked for; our choice: events lie between samples
FETCHED = 500  # records asked of SQLite at a time; our choice
_BULK_RECORDS = 10_000  # at most so many records of the journal for such a block; our choice


@dataclass(frozen=True, slots=True)
class _Day:
    """A day that is not in the journal any more, and how its samples lay there."""

    day: int
    last_position: int
    gone: bool
    positions: Ints
    counts: Ints
    bits: Ints


@dataclass(slots=True)
class _Piece:
    """Samples after some position: complete up to `end`; (position, count) of records that cannot be read any more."""

    samples: list[Samples]
    end: int
    gone: list[tuple[int, int]] = field(default_factory=list)

    def lost(self, upto: int) -> int:
        """Samples that cannot be read any more, up to that position."""
        return sum(count for position, count in self.gone if position <= upto)


class Stream:
    """Reads through `connection`, which no other thread uses at the same time, and days' files as `archived` opens."""

    def __init__(self, connection: sqlite3.Connection, home: Home, archived: OpenDay = DayFile) -> None:
        self._connection = connection
        self._home = home
        self._archived = archived
        self._day: _Day | None = None
        self._file: tuple[int, ArchivedDay] | None = None

    def close(self) -> None:
        """Let go of the archive's file; the connection is its owner's."""
        if self._file is not None:
            self._file[1].close()
            self._file = None

    def head(self) -> int:
        """Position of the newest record."""
        return head(self._connection)

    def page(self, after: int, limit: int, together: bool = False) -> Page:
        """Records after a position: up to `limit`, and no more samples than make a large block or one record.

        together   samples of up to `limit` records lie in few, each at the place of its last; up to as many events and
                   orders beside them
        """
        with glance(self._connection):
            newest = self.head()
            within = min(newest, after + PAGE_TIMES * limit)  # a search for orders reads all that lies between
            events = [
                Event(*row)
                for row in self._connection.execute(
                    "SELECT position, number, kind, t_us, body FROM event WHERE position > ? AND position <= ?"
                    " ORDER BY position LIMIT ?",
                    (after, within, limit),
                )
            ]
            orders = [
                Given(position, Order.model_validate_json(data))
                for position, data in self._connection.execute(
                    "SELECT position, data FROM feed WHERE position > ? AND position <= ? AND kind = ?"
                    " ORDER BY position LIMIT ?",
                    (after, within, schema.ORDER, limit),
                )
            ]
            upto = min([within, *(some[-1].position for some in (events, orders) if len(some) == limit)])
            day = self._closed(after)
            piece = None if day else self._in_journal(after, limit, upto, together)
        if piece is None:
            assert day is not None
            piece = self._in_archive(day, after, limit, upto, together)
        end = min(piece.end, upto)
        found: list[Record] = [*piece.samples, *events, *orders]
        records = sorted((r for r in found if r.position <= end), key=lambda r: r.position)
        if len(records) > limit and not together:
            records, end = records[:limit], records[limit - 1].position
        return Page(records, end, piece.lost(end), done=end >= newest)

    def fed(self, after: int, upto: int) -> Iterator[Block | int | Order]:
        """What was fed to the watch in (after, upto], in order."""
        while after < upto:
            with glance(self._connection):
                day = self._closed(after)
                piece = None if day else self._in_journal(after, _BULK_RECORDS, upto)
            if piece is None:
                assert day is not None
                piece = self._in_archive(day, after, _BULK_RECORDS)
            end = min(piece.end, upto)
            others = self._connection.execute(
                "SELECT position, kind, t_us, data FROM feed WHERE position > ? AND position <= ? AND kind != ?"
                " ORDER BY position",
                (after, end, schema.BLOCK),
            ).fetchall()
            items: list[tuple[int, Block | int | Order]] = [
                (s.position, s.block) for s in piece.samples if s.position <= end
            ]
            items += [
                (position, int(t_us) if kind == schema.ADVANCE else Order.model_validate_json(data))
                for position, kind, t_us, data in others
            ]
            yield from (item for _, item in sorted(items, key=lambda pair: pair[0]))
            after = end

    def blocks(self, start_us: int | None = None, end_us: int | None = None) -> Iterator[Block | int]:
        """Samples in [start_us, end_us) in large blocks; a number in between: so many there cannot be read any more."""
        after = self.before(start_us)
        while True:
            with glance(self._connection):
                newest = self.head()
                day = self._closed(after)
                piece = None if day else self._in_journal(after, _BULK_RECORDS, newest)
            if piece is None:
                assert day is not None
                piece = self._in_archive(day, after, None, together=True)
            if piece.gone and self._asks_for(day, start_us, end_us):
                yield piece.lost(piece.end)
            for block in _bulk(piece.samples):
                begin = 0 if start_us is None else int(np.searchsorted(block.t_us, start_us, "left"))
                stop = len(block) if end_us is None else int(np.searchsorted(block.t_us, end_us, "left"))
                if begin < stop:
                    yield block[begin:stop]
                if stop < len(block):
                    return
            after = piece.end
            if after >= newest:
                return

    @staticmethod
    def _asks_for(day: _Day | None, start_us: int | None, end_us: int | None) -> bool:
        return day is None or (
            (start_us is None or (day.day + 1) * DAY_US > start_us) and (end_us is None or day.day * DAY_US < end_us)
        )

    def before(self, start_us: int | None) -> int:
        """A position before all samples from `start_us` on, and not long before."""
        if start_us is None:
            return 0
        row = self._connection.execute(
            "SELECT min(first_position) FROM day WHERE day >= ?", (day_of(start_us),)
        ).fetchone()
        return self.head() if row[0] is None else int(row[0]) - 1

    def _closed(self, after: int) -> _Day | None:
        """The archived or deleted day that the record after this position belongs to."""
        if self._day is not None and not self._day.gone and self._known(self._day, after):
            return self._day
        row = self._connection.execute(
            "SELECT day, last_position, state, lay FROM day WHERE state != ? AND last_position > ?"
            " ORDER BY last_position LIMIT 1",
            (schema.OPEN, after),
        ).fetchone()
        if row is None:
            return None
        day, last_position, state, lay = row
        self._day = _Day(day, last_position, state == schema.GONE, *codec.unpack_index(lay))
        return self._day

    def _known(self, day: _Day, after: int) -> bool:
        """Whether `day`, read before, is the one, and is still archived."""
        if not (len(day.positions) and int(day.positions[0]) <= after < day.last_position):
            return False
        row = self._connection.execute("SELECT state FROM day WHERE day = ?", (day.day,)).fetchone()
        return row is not None and row[0] == schema.ARCHIVED

    def _in_journal(self, after: int, limit: int, newest: int, together: bool = False) -> _Piece:
        rows = self._connection.execute(
            "SELECT position, count, data FROM feed WHERE position > ? AND position <= ? AND kind = ?"
            " ORDER BY position LIMIT ?",
            (after, newest, schema.BLOCK, limit),
        )
        piece = _Piece([], newest)
        taken: list[tuple[int, int, bytes]] = []
        samples = 0
        while samples < BULK_ROWS and len(taken) < limit:  # many at a time, of which few are read for nothing
            least = rows.fetchmany(min(limit - len(taken), FETCHED))
            for place, row in enumerate(least, 1):
                samples += row[1]
                if samples >= BULK_ROWS:
                    least = least[:place]
                    break
            taken += least
            if not least:
                break
        else:
            piece.end = taken[-1][0]
        rows.close()
        whole = codec.decode_together([data for _, _, data in taken]) if together else None
        if whole is not None:
            piece.samples.append(Samples(taken[-1][0], whole))
            return piece
        blocks = codec.decode_all([data for _, _, data in taken])
        for (position, count, _), block in zip(taken, blocks, strict=True):
            if block is None:
                piece.gone.append((position, count))
            else:
                piece.samples.append(Samples(position, block))
        return piece

    def _in_archive(
        self, day: _Day, after: int, limit: int | None, upto: int | None = None, together: bool = False
    ) -> _Piece:
        """Records of a closed day up to a position: `limit` of them, or as many as make a large block."""
        first = int(np.searchsorted(day.positions, after, "right"))
        rows = np.concatenate([[0], np.cumsum(day.counts)])
        stop = max(first + 1, int(np.searchsorted(rows, rows[first] + BULK_ROWS, "right")) - 1)
        stop = min(len(day.positions), stop, len(day.positions) if limit is None else first + limit)
        end = day.last_position if stop >= len(day.positions) else int(day.positions[stop - 1])
        if upto is not None and upto < end:
            stop, end = int(np.searchsorted(day.positions, upto, "right")), upto
        file = None if day.gone else self._opened(day)
        if file is None:
            left = zip(day.positions[first:].tolist(), day.counts[first:].tolist(), strict=True)
            return _Piece([], day.last_position, list(left))
        piece = _Piece([], end)
        bounds = range(first, stop)
        if together:  # one record for each stretch of equal channels
            turns = first + 1 + np.flatnonzero(np.diff(day.bits[first:stop]))
            starts = [first, *turns.tolist(), stop] if first < stop else []
            pairs = list(pairwise(starts))
        else:
            pairs = [(i, i + 1) for i in bounds]
        for begin, until in pairs:
            block = file.slice(int(rows[begin]), int(rows[until]))
            piece.samples.append(Samples(int(day.positions[until - 1]), _with(block, int(day.bits[begin]))))
        return piece

    def _opened(self, day: _Day) -> ArchivedDay | None:
        """The day's file; None when it is not there, unreadable, or not the one that was archived."""
        if self._file is not None and self._file[0] == day.day:
            return self._file[1]
        self.close()
        try:
            file = self._archived(day_path(self._home, day.day))
        except (OSError, ValueError):  # pyarrow's errors are among these
            return None
        if file.rows != int(day.counts.sum()):
            file.close()
            return None
        self._file = day.day, file
        return file


def head(connection: sqlite3.Connection) -> int:
    """Position of the newest record; positions of a deleted day count too."""
    row = connection.execute(
        "SELECT max((SELECT coalesce(max(position), 0) FROM feed), (SELECT coalesce(max(position), 0) FROM event),"
        " (SELECT coalesce(max(last_position), 0) FROM day), (SELECT coalesce(max(position), 0) FROM checkpoint))"
    ).fetchone()
    return int(row[0])


def _with(block: Block, bits: int) -> Block:
    """The block with the channels that it was committed with, and no others."""
    amps, celsius = block.amps, block.celsius
    return Block(
        block.t_us,
        block.volts,
        amps if codec.has_amps(bits) else None,
        celsius if codec.has_celsius(bits) else None,
    )


def _bulk(samples: list[Samples]) -> Iterator[Block]:
    """Neighbouring blocks of equal channels as large ones."""
    waiting: list[Block] = []
    rows = 0
    for block in (s.block for s in samples):
        if waiting and (codec.channels_of(block) != codec.channels_of(waiting[0]) or rows >= BULK_ROWS):
            yield Block(*joined(waiting))
            waiting, rows = [], 0
        waiting.append(block)
        rows += len(block)
    if waiting:
        yield waiting[0] if len(waiting) == 1 else Block(*joined(waiting))
