"""A vehicle's data folder for tests: invented samples in records of a second, with midnight somewhere among them."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from monitor.base.samples import Block
from monitor.base.tables.store import StoreTable
from monitor.store import upkeep
from monitor.store.entries import Entry, Record, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader

DAY_US = 86_400_000_000
FIRST_DAY = 20_000  # days since 1970; an autumn day
ROOMY = StoreTable(spare_bytes=1.0)  # the disk counts as roomy, whatever this computer's has left
SHORT = StoreTable(spare_bytes=1e18)


def block(t_us: int, count: int = 10, step_us: int = 100_000, seed: int = 0) -> Block:
    """Samples with all digits of a float64, and a NaN now and then."""
    random = np.random.default_rng((seed, t_us))
    amps = random.normal(0, 0.02, count)
    amps[random.random(count) < 0.1] = np.nan
    return Block(t_us + step_us * np.arange(count), random.normal(12.5, 0.1, count), amps)


def second(index: int, start_us: int) -> Entry:
    """The entry of the index-th second: ten samples, an event every fifth, the watch's state every twentieth."""
    t_us = start_us + index * 1_000_000
    return Entry(
        block=block(t_us),
        events=[(index // 5, "quarter", t_us, f'{{"n": {index // 5}}}')] if index % 5 == 0 else [],
        checkpoint={"seconds": index + 1} if index % 20 == 19 else None,
    )


class Unsynced(sqlite3.Connection):
    """Does not wait for the disk: for tests that are not about it, and make thousands of commits."""

    def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
        return super().execute(sql.replace("synchronous = FULL", "synchronous = OFF"), *values)


def unsynced(uri: str) -> sqlite3.Connection:
    return sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, factory=Unsynced)


def filled(home: Home, seconds: int = 200, days: int = 1) -> Journal:
    """A journal of so many seconds about each of so many midnights; its closed days are still in it."""
    journal = Journal(home, connect=unsynced)
    for index in range(seconds * days):
        day, rest = divmod(index, seconds)
        journal.commit(second(index, (FIRST_DAY + day + 1) * DAY_US + (rest - seconds // 2 - index) * 1_000_000))
    return journal


def here(journal: Journal) -> upkeep.Do:
    """Does the work on the journal at once, in this thread."""

    def do(work: Callable[[Journal], Any]) -> Any:
        return work(journal)

    return do


def records(home: Home, after: int = 0, limit: int = 7) -> list[Record]:
    """All records after a position, read a few at a time."""
    found: list[Record] = []
    with JournalReader(home) as reader:
        while True:
            page = reader.page(after, limit)
            found += page.records
            after = page.end
            if page.done:
                return found


def plain(items: Sequence[Record]) -> list[Any]:
    """Records as values that can be compared, samples to the last bit."""
    return [
        (item.position, *exactly(item.block)) if isinstance(item, Samples) else (item.position, str(item))
        for item in items
    ]


def exactly(block: Block) -> tuple[bytes | None, ...]:
    """The bytes of a block's columns."""
    columns = (block.t_us, block.volts, block.amps, block.celsius)
    return tuple(None if column is None else column.tobytes() for column in columns)


def times(blocks: Iterator[Block | int] | Sequence[Block]) -> list[int]:
    """Times of all samples."""
    return [int(t) for item in blocks if isinstance(item, Block) for t in item.t_us]


def home_in(folder: Path) -> Home:
    """The data folder of a test's vehicle."""
    return Home(folder / "car")
