from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.samples import SECOND_US, Block
from monitor.store import upkeep
from monitor.store.entries import Entry
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from monitor.store.thin import thinned
from monitor.store.trim import THINNED
from tests.store.making import DAY_US, FIRST_DAY, ROOMY, SHORT, block, exactly, filled, here, home_in, times


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return home_in(tmp_path)


@given(st.lists(st.tuples(st.integers(1, 400_000), st.floats(9, 15), st.floats(-5, 5)), min_size=1, max_size=60))
def test_extremes_and_ends_of_each_second_stay(rows: list[tuple[int, float, float]]) -> None:
    steps, volts, amps = (np.array(column) for column in zip(*rows, strict=True))
    whole = Block(np.cumsum(steps), volts, amps)
    left = thinned(whole)
    for second in np.unique(whole.t_us // SECOND_US):
        here_, there = whole.t_us // SECOND_US == second, left.t_us // SECOND_US == second
        assert left.t_us[there][0] == whole.t_us[here_][0]
        assert left.t_us[there][-1] == whole.t_us[here_][-1]
        assert left.volts[there].min() == whole.volts[here_].min()
        assert left.amps is not None
        assert left.amps[there].max() == whole.amps[here_].max()
        assert np.count_nonzero(there) <= 6
    assert exactly(thinned(left)) == exactly(left)


def test_a_second_without_readings_keeps_its_ends() -> None:
    nothing = Block(np.array([1, 2, 3]), np.full(3, np.nan))
    assert thinned(nothing).t_us.tolist() == [1, 3]


def test_a_short_disk_thins_and_counts(home: Home) -> None:
    journal = filled(home)
    with JournalReader(home) as reader:
        before = len(times(list(reader.blocks())))
        told = upkeep.relieve(home, SHORT, here(journal))
        left = len(times(list(reader.blocks())))
        assert told == f"the disk is nearly full; {before - left:,} samples thinned away"
        assert reader.books().refused == {THINNED: before - left}
        assert reader.books().samples == left
        assert len(reader.events()) == 40


def test_what_a_restart_is_fed_is_never_thinned(home: Home) -> None:
    journal = filled(home)
    before = [exactly(item) for item in journal.resume().since if isinstance(item, Block)]
    older = journal.resume(afresh_us=(FIRST_DAY + 1) * DAY_US + 60_000_000)
    expected = [exactly(item) for item in older.since if isinstance(item, Block)][-40:]
    upkeep.relieve(home, SHORT, here(journal))
    assert [exactly(item) for item in journal.resume().since if isinstance(item, Block)] == before
    again = journal.resume(afresh_us=(FIRST_DAY + 1) * DAY_US + 60_000_000)
    assert [exactly(item) for item in again.since if isinstance(item, Block)][-20:] == expected[-20:]


def test_nothing_is_thinned_where_there_is_room(home: Home) -> None:
    journal = filled(home)
    assert upkeep.relieve(home, ROOMY, here(journal)) == "the disk has room"
    with JournalReader(home) as reader:
        assert reader.lost() == {}


def test_thinning_makes_room_inside_the_journal(home: Home) -> None:
    journal = filled(home, seconds=2000)
    upkeep.relieve(home, SHORT, here(journal))
    size = home.journal.stat().st_size
    for index in range(100):  # a hundred further seconds fit into what was freed
        t_us = (FIRST_DAY + 3) * DAY_US + index * SECOND_US
        journal.commit(Entry(block=block(t_us)))
    assert home.journal.stat().st_size == size


def test_the_books_still_balance_after_a_restart(home: Home) -> None:
    journal = filled(home)
    upkeep.relieve(home, SHORT, here(journal))
    journal.close()
    again = Journal(home)
    with JournalReader(home) as reader:
        assert reader.books().samples == len(times(list(reader.blocks())))
    assert again.resume().ledger.samples == 2000
