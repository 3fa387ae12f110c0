"""The disk fills up, in four acts: it fails, it is said and shown, space returns, work goes on without help.

SQLite is told that the file may grow no further (`max_page_count`), which is to it what a full disk is.
"""

import sqlite3
from pathlib import Path

import pytest

from monitor.base.errors import StoreError
from monitor.base.samples import Block
from monitor.base.tables.store import StoreTable
from monitor.store import upkeep
from monitor.store.database import connect
from monitor.store.disk import Disk
from monitor.store.entries import Entry, Event, Letter, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.making import DAY_US, FIRST_DAY, block, here, home_in, records, second, times

START = FIRST_DAY * DAY_US


class Filling:
    """A disk on which the journal gets no further page once it is `full`."""

    def __init__(self) -> None:
        self.connection: sqlite3.Connection | None = None

    def __call__(self, uri: str) -> sqlite3.Connection:
        self.connection = connect(uri)
        return self.connection

    def full(self, is_full: bool) -> None:
        assert self.connection is not None
        pages = self.connection.execute("PRAGMA page_count").fetchone()[0] if is_full else 2**31
        self.connection.execute(f"PRAGMA max_page_count = {pages}")


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return home_in(tmp_path)


def fill(journal: Journal, index: int) -> tuple[StoreError, int]:
    """Commit seconds until one does not fit: its error and index."""
    for at in range(index, index + 1000):
        try:
            journal.commit(second(at, START))
        except StoreError as wrong:
            return wrong, at
    raise AssertionError("the disk never was full")


def test_in_four_acts(home: Home) -> None:
    disk = Filling()
    journal = Journal(home, connect=disk)
    journal.commit(second(0, START))

    disk.full(True)  # it fails
    wrong, failed = fill(journal, 1)

    assert wrong.kind == "disk_full"  # it is said, with what to do, and what was written before can be read
    assert "full" in wrong.what
    assert "free some space" in wrong.remedy
    assert str(home.journal) in wrong.what
    with JournalReader(home) as reader:
        assert len(times(list(reader.blocks()))) == failed * 10
    with pytest.raises(StoreError):
        journal.commit(second(failed, START))

    disk.full(False)  # space returns

    for index in range(failed, failed + 50):  # work goes on, with the entry that did not fit
        journal.commit(second(index, START))
    found = records(home)
    assert times([r.block for r in found if isinstance(r, Samples)]) == times(
        [block(START + i * 1_000_000) for i in range(failed + 50)]
    )
    numbers = [r.number for r in found if isinstance(r, Event)]
    assert numbers == list(range(len(numbers)))


def test_what_did_not_fit_left_nothing_behind(home: Home) -> None:
    disk = Filling()
    journal = Journal(home, connect=disk)
    journal.commit(second(0, START))
    before = journal.position
    disk.full(True)
    large = Entry(block=block(START + 10**9, 50_000), letters=[Letter("k", 0, "low", "s", "t", to="phone")])
    with pytest.raises(StoreError):
        journal.commit(large)
    assert journal.position == before
    with JournalReader(home) as reader:
        assert reader.letter("k") is None
        assert reader.position() == before


def test_thinning_finds_room_for_findings_in_a_full_journal(home: Home) -> None:
    disk = Filling()
    journal = Journal(home, connect=disk)
    for index in range(400):
        journal.commit(second(index, START))
    disk.full(True)
    _, failed = fill(journal, 400)
    while journal.thin()[1]:
        pass
    number = failed // 5 + 1
    journal.commit(Entry(events=[(number, "stand", START, "{}")]))
    assert [r.number for r in records(home) if isinstance(r, Event)][-1] == number


class Nearly(Disk):
    """A disk with so much room."""

    free = 10**9

    def free_bytes(self, folder: Path) -> int:
        return self.free


def test_a_nearly_full_disk_is_a_state_that_ends_by_itself(home: Home) -> None:
    disk, policy = Nearly(), StoreTable(spare_bytes=2e8)
    journal = Journal(home)
    for index in range(100):
        journal.commit(second(index, START + DAY_US - 50_000_000))
    assert not upkeep.is_short(home, policy, disk)
    disk.free = 10**8
    assert upkeep.is_short(home, policy, disk)
    assert "thinned away" in upkeep.relieve(home, policy, here(journal), disk)
    assert upkeep.roll_over(home, policy, here(journal), disk) == "no day archived: the disk is nearly full"
    disk.free = 10**9
    assert not upkeep.is_short(home, policy, disk)
    assert upkeep.roll_over(home, policy, here(journal), disk).startswith("archived")


def test_a_disk_that_fills_while_a_day_is_archived_loses_nothing(home: Home) -> None:
    class Full(Disk):
        def sync(self, path: Path) -> None:
            raise OSError(28, "No space left on device")

    journal = Journal(home)
    for index in range(100):
        journal.commit(second(index, START + DAY_US - 50_000_000))
    with JournalReader(home) as reader:
        before = [item.t_us.tolist() for item in reader.blocks() if isinstance(item, Block)]
        with pytest.raises(StoreError) as told:
            upkeep.roll_over(home, StoreTable(spare_bytes=1.0), here(journal), Full())
        assert told.value.kind == "disk_full"
        assert [item.t_us.tolist() for item in reader.blocks() if isinstance(item, Block)] == before
    assert upkeep.roll_over(home, StoreTable(spare_bytes=1.0), here(journal)).startswith("archived")
    assert [path.suffix for path in home.archive.iterdir()] == [".parquet"]
