"""A full disk in four acts: it fails, that is said, room comes back, and all goes on without help."""

import sqlite3
from pathlib import Path

from monitor.service import inbox
from monitor.service.keeper import DROPPED
from monitor.store.database import connect
from monitor.store.reader import JournalReader
from tests.service.fakes import EPOCH_US, Bench, bench, order

SECOND_US = 1_000_000


class Disk:
    """A disk whose room for the journal is set in pages."""

    def __init__(self) -> None:
        self.connection: sqlite3.Connection | None = None

    def connect(self, uri: str) -> sqlite3.Connection:
        self.connection = connect(uri)
        return self.connection

    def fill(self) -> None:
        assert self.connection is not None
        pages = self.connection.execute("PRAGMA page_count").fetchone()[0]
        self.connection.execute(f"PRAGMA max_page_count = {pages}")

    def clear(self) -> None:
        assert self.connection is not None
        self.connection.execute("PRAGMA max_page_count = 1000000")


def full(folder: Path) -> tuple[Bench, Disk, int]:
    """A keeper whose disk filled up, and the first second that could not be written."""
    disk = Disk()
    made = bench(folder, connect=disk.connect)
    made.hear(EPOCH_US)
    disk.fill()
    second = 1
    while not made.keeper.waiting_bytes:
        made.hear(EPOCH_US + second * SECOND_US, count=100, step_us=9_000)
        second += 1
    return made, disk, second


def test_samples_wait_in_memory_and_are_written_when_there_is_room(tmp_path: Path) -> None:
    made, disk, second = full(tmp_path)
    assert "full" in made.troubles.now["disk_full"]
    assert any("full" in text for text in made.keeper.telling.standing())
    for later in range(second, second + 5):
        made.hear(EPOCH_US + later * SECOND_US, count=100, step_us=9_000)
    disk.clear()
    made.step()
    assert made.keeper.waiting_bytes == 0
    assert made.troubles.now == {}
    assert made.keeper.telling.standing() == []
    with JournalReader(made.home) as reader:
        assert sum(len(block) for block in reader.blocks() if not isinstance(block, int)) == 10 + 100 * (second + 4)


def test_what_waits_is_bounded_and_each_row_beyond_is_counted(tmp_path: Path) -> None:
    made, disk, second = full(tmp_path)
    made.keeper._most_waiting = 3000
    for later in range(second, second + 10):
        made.hear(EPOCH_US + later * SECOND_US, count=100, step_us=9_000)
    dropped = made.feed.ledger.refused[DROPPED]
    assert 0 < dropped == made.keeper.dropped
    assert made.keeper.waiting_bytes < 3000 + 2 * 1600
    disk.clear()
    made.step()
    with JournalReader(made.home) as reader:
        kept = sum(len(block) for block in reader.blocks() if not isinstance(block, int))
        assert kept + dropped == 10 + 100 * (second + 9)
        assert reader.books().refused == {DROPPED: dropped}


def test_an_order_waits_for_the_disk_since_it_could_not_be_kept(tmp_path: Path) -> None:
    made, disk, _ = full(tmp_path)
    given = order("hush", until=made.clock.wall_us + 3600 * SECOND_US)
    inbox.put(made.home, given)
    made.step()
    assert len(inbox.waiting(made.home)) == 1
    disk.clear()
    made.step()
    made.step()
    answer = inbox.await_answer(made.home, given, 0.0)
    assert answer is not None
    assert answer.done


def test_letters_that_cannot_be_kept_are_handed_on_from_memory(tmp_path: Path) -> None:
    made, disk, second = full(tmp_path)
    told: list[str] = []
    made.keeper.letters_unwritten = lambda letters: told.extend(letter.key for letter in letters)
    made.hear(EPOCH_US + (second + 60) * SECOND_US, volts=11.0)
    assert told == ["0 raised"]
    disk.clear()
    made.step()
    with JournalReader(made.home) as reader:
        assert [event.number for event in reader.events()] == [0]
