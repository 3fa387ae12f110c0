"""Samples of many records read as few: the same samples, events, losses and end, wherever they lie."""

import sqlite3
import zlib
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.base.samples import Block
from monitor.store import codec, upkeep
from monitor.store.entries import Entry, Event, Given, Page, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.making import DAY_US, FIRST_DAY, ROOMY, block, exactly, filled, here, home_in


def taken(home: Home, limit: int, together: bool) -> tuple[list[object], list[object], int, int, int]:
    """Samples one by one with their channels, events and orders, lost samples, the end, and records of samples."""
    samples: list[object] = []
    others: list[object] = []
    lost = end = count = 0
    with JournalReader(home) as reader:
        while True:
            page: Page = reader.page(end, limit, together)
            assert page.done or page.end > end
            for record in page.records:
                assert end < record.position <= page.end
                if isinstance(record, Samples):
                    count += 1
                    columns = (record.block.volts, record.block.amps, record.block.celsius)
                    nothing = np.full(len(record.block), np.inf)
                    rows = zip(record.block.t_us, *(nothing if c is None else c for c in columns), strict=True)
                    samples += [tuple(map(repr, row)) for row in rows]
                else:
                    assert isinstance(record, Event | Given)
                    others.append(record)
            lost += page.lost
            end = page.end
            if page.done:
                return samples, others, lost, end, count


@pytest.mark.parametrize("limit", [1, 3, 50, 1000])
@pytest.mark.parametrize("archived", [False, True])
def test_the_same_of_journal_and_archive(tmp_path: Path, limit: int, archived: bool) -> None:
    home = home_in(tmp_path)
    journal = filled(home, days=2)
    if archived:
        upkeep.roll_over(home, ROOMY, here(journal))
    one, few = taken(home, limit, False), taken(home, limit, True)
    assert few[:4] == one[:4]
    assert few[4] < one[4] or limit == 1
    assert len(one[0]) > 1000
    assert one[1]  # events: they cut pages short


@pytest.mark.parametrize("archived", [False, True])
def test_more_events_than_samples_cut_the_page_for_both(tmp_path: Path, archived: bool) -> None:
    home = home_in(tmp_path)
    journal, start = Journal(home), FIRST_DAY * DAY_US
    for second in range(20):
        at = start + second * 1_000_000
        events = [(5 * second + i, "quarter", at, "{}") for i in range(5)]
        journal.commit(Entry(block=block(at), events=events, checkpoint={}))
    journal.commit(Entry(block=block(start + DAY_US), checkpoint={}))
    if archived:
        assert "archived" in upkeep.roll_over(home, ROOMY, here(journal))
    one, few = taken(home, 7, False), taken(home, 7, True)
    assert few[:4] == one[:4]


def test_channels_that_come_and_go_are_kept_apart(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    journal, start = Journal(home), FIRST_DAY * DAY_US
    for second in range(30):
        whole = block(start + second * 1_000_000, count=7 + second % 4, seed=second)
        journal.commit(Entry(block=whole if second % 10 < 7 else Block(whole.t_us, whole.volts)))
    one, few = taken(home, 1000, False), taken(home, 1000, True)
    assert few[:4] == one[:4]


def test_what_cannot_be_read_is_counted_the_same(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    filled(home).close()
    with closing(sqlite3.connect(home.journal)) as connection, connection:
        connection.execute("UPDATE feed SET data = substr(data, 1, 20) WHERE kind = 0 AND position % 7 = 0")
    one, few = taken(home, 1000, False), taken(home, 1000, True)
    assert few[:4] == one[:4]
    assert few[2] > 0


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(1, 12), min_size=1, max_size=20), st.booleans(), st.integers(0, 2**32 - 1))
def test_blocks_of_any_sizes_are_joined_in_order(sizes: list[int], long_steps: bool, seed: int) -> None:
    rng = np.random.default_rng(seed)
    t_us = np.cumsum(rng.integers(1, 2**33 if long_steps else 10**6, sum(sizes)))
    whole = Block(t_us, rng.normal(12.5, 0.1, len(t_us)), rng.normal(0, 1, len(t_us)))
    ends = np.cumsum(sizes).tolist()
    parts = [codec.encode(whole[start:end]) for start, end in zip([0, *ends[:-1]], ends, strict=True)]
    joined = codec.decode_together(parts)
    assert joined is not None
    assert exactly(joined) == exactly(whole)


def test_damage_and_other_channels_are_not_joined() -> None:
    first, second = block(0), block(2_000_000)
    assert codec.decode_together([codec.encode(first), codec.encode(Block(second.t_us, second.volts))]) is None
    damaged = bytearray(codec.encode(second))
    damaged[-1] ^= 1
    assert zlib.crc32(bytes(damaged)[4:]) != int.from_bytes(damaged[:4], "little")
    assert codec.decode_together([codec.encode(first), bytes(damaged)]) is None
    assert codec.decode_together([]) is None
