"""Damaged bytes: found at the start, moved aside as they are, a new journal begun with what can be read of the old."""

import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.base.errors import StoreError
from monitor.base.orders import Order
from monitor.base.samples import Block
from monitor.store import upkeep
from monitor.store.database import PAGE_BYTES as PAGE
from monitor.store.disk import Disk
from monitor.store.entries import Entry, Event, Letter, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.making import (
    DAY_US,
    FIRST_DAY,
    ROOMY,
    block,
    exactly,
    filled,
    here,
    home_in,
    plain,
    records,
)  # fmt: skip


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A sound journal with a bit of everything, and its first day archived."""
    home = home_in(tmp_path_factory.mktemp("original"))
    journal = filled(home, seconds=600)
    journal.commit(
        Entry(
            orders=[Order(id="a", at=5, kind="hush")],
            letters=[Letter("k", 0, "low", "s", "t", to="phone")],
        )
    )
    journal.move("database", 100, state="here")
    upkeep.roll_over(home, ROOMY, here(journal))
    journal.close()
    return home


@pytest.fixture
def whole(original: Home, tmp_path: Path) -> Home:
    """A copy of it, to be damaged."""
    return copied(original, tmp_path / "whole")


def copied(home: Home, folder: Path) -> Home:
    copy = home_in(folder)
    shutil.copytree(home.folder, copy.folder)
    return copy


def overwritten(path: Path, start: int, end: int) -> None:
    data = bytearray(path.read_bytes())
    data[start:end] = random.Random(start).randbytes(end - start)
    path.write_bytes(data)


def test_one_damaged_page_costs_only_its_rows(whole: Home, tmp_path: Path) -> None:
    with JournalReader(whole) as reader:
        before = dict(readings(reader))
        events = reader.events()
    mended = 0
    for page in range(1, whole.journal.stat().st_size // PAGE, 5):
        home = copied(whole, tmp_path / str(page))
        overwritten(home.journal, page * PAGE, (page + 1) * PAGE)
        journal = Journal(home)
        journal.close()
        if journal.damage is None:  # a page that was free
            continue
        mended += 1
        with JournalReader(home) as reader:
            found = dict(readings(reader))
            left = reader.events()
        shutil.rmtree(home.folder)
        assert found.items() <= before.items()
        assert all(event in events for event in left)
        # a page of 1024 bytes holds no more than 10 records of ten samples (100 bytes at least)
        assert len(before) - len(found) <= 100
        assert left == events or found == before
    assert mended > 5


def test_a_damaged_journal_is_kept_as_it_was_found(whole: Home) -> None:
    size = whole.journal.stat().st_size
    overwritten(whole.journal, size - 8 * PAGE, size - 4 * PAGE)
    found = whole.journal.read_bytes()
    journal = Journal(whole)
    assert journal.damage is not None
    assert Path(journal.damage.moved_to, "journal.db").read_bytes() == found


def readings(reader: JournalReader) -> Iterator[tuple[int, tuple[bytes | None, ...]]]:
    for item in reader.blocks():
        assert isinstance(item, Block)
        for row in range(len(item)):
            yield int(item.t_us[row]), exactly(item[row : row + 1])


def test_a_destroyed_header_leaves_what_the_other_pages_and_the_archive_hold(whole: Home) -> None:
    with JournalReader(whole) as reader:
        before = dict(readings(reader))
        events = [event.body for event in reader.events()]
    overwritten(whole.journal, 0, 2 * PAGE)
    journal = Journal(whole)
    assert journal.damage is not None
    assert "not a database" in journal.damage.why
    with JournalReader(whole) as reader:
        assert dict(readings(reader)) == before
        assert [event.body for event in reader.events()] == events
        assert [given.order.id for given in reader.orders()] == ["a"]
    newest = (FIRST_DAY + 5) * DAY_US
    journal.commit(Entry(block=block(newest)))
    assert [r.block.t_us[0] for r in records(whole) if isinstance(r, Samples)][-1] == newest


def test_the_notice_says_where_and_how_much(whole: Home) -> None:
    overwritten(whole.journal, whole.journal.stat().st_size - 8 * PAGE, whole.journal.stat().st_size - 6 * PAGE)
    journal = Journal(whole, clock_us=lambda: 1_700_000_000_000_000)
    assert journal.damage is not None
    text = str(journal.damage)
    assert text.startswith("the journal was damaged (")
    assert f"moved to {whole.damaged / '2023-11-14T221320Z'}" in text
    assert "samples" in text


def test_after_damage_no_number_is_given_twice(whole: Home) -> None:
    position = records(whole)[-1].position
    overwritten(whole.journal, whole.journal.stat().st_size - 8 * PAGE, whole.journal.stat().st_size - 4 * PAGE)
    journal = Journal(whole)
    assert journal.damage is not None
    resume = journal.resume()
    assert resume.afresh
    assert resume.next_event > 120
    assert journal.commit(Entry(block=block((FIRST_DAY + 5) * DAY_US))) > position
    journal.commit(Entry(checkpoint={}))
    assert not journal.resume().afresh


def test_a_damaged_block_in_a_sound_file_is_no_figure(whole: Home) -> None:
    with JournalReader(whole) as reader:
        position, data = reader.connection.execute("SELECT position, data FROM feed WHERE kind = 0 LIMIT 1").fetchone()
    content = whole.journal.read_bytes()
    assert content.count(data) == 1
    at = content.index(data)
    overwritten(whole.journal, at + 20, at + 24)
    journal = Journal(whole)
    assert journal.damage is None
    assert position not in [r.position for r in records(whole)]
    with JournalReader(whole) as reader:
        assert [item for item in reader.blocks() if isinstance(item, int)] == [10]
    assert sum(len(item) for item in journal.resume(afresh_us=0).since if isinstance(item, Block)) == 6000 - 10


class Stopped(Exception):  # noqa: N818 - no error: the power goes
    """The power goes off."""


def test_stopped_while_mending_it_mends_again(whole: Home, tmp_path: Path) -> None:
    size = whole.journal.stat().st_size
    overwritten(whole.journal, size - 8 * PAGE, size - 6 * PAGE)
    expected = None
    for last in range(-1, 12):
        home = copied(whole, tmp_path / str(last + 1))
        if last >= 0:
            with pytest.raises(Stopped):
                Journal(home, disk=Stopping(last))
        journal = Journal(home)
        found = plain(records(home))
        journal.close()
        assert [path.name for path in home.folder.iterdir() if "new" in path.name] == []
        assert expected is None or found == expected
        expected = found
        if last == Stopping.most:
            return
    raise AssertionError("never came to the end")


class Stopping(Disk):
    """Goes off before the chosen step."""

    most = 3  # sync of the new one; rename of the damaged one; rename of the new one; sync of the folder

    def __init__(self, last: int) -> None:
        self._left = last

    def _step(self) -> None:
        if self._left == 0:
            raise Stopped
        self._left -= 1

    def sync(self, path: Path) -> None:
        self._step()
        super().sync(path)

    def rename(self, old: Path, new: Path) -> None:
        self._step()
        super().rename(old, new)


def test_events_orders_letters_and_cursors_are_saved(whole: Home) -> None:
    """A damaged leaf of samples takes none of them along."""
    with JournalReader(whole) as reader:
        position = reader.connection.execute("SELECT max(position) FROM feed WHERE kind = 0").fetchone()[0]
        data = reader.connection.execute("SELECT data FROM feed WHERE position = ?", (position - 90,)).fetchone()[0]
    page = whole.journal.read_bytes().index(data) // PAGE
    overwritten(whole.journal, page * PAGE, (page + 1) * PAGE)
    journal = Journal(whole)
    assert journal.damage is not None
    assert (journal.damage.events, journal.damage.orders, journal.damage.letters) == (120, 1, 1)
    with JournalReader(whole) as reader:
        assert reader.cursor("database").state == "here"
    assert len([r for r in records(whole) if isinstance(r, Event)]) == 120
    samples = [exactly(r.block) for r in records(whole) if isinstance(r, Samples)]
    assert 600 - 40 <= len(samples) < 600


def test_something_else_under_its_name_is_moved_aside_too(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    home.folder.mkdir()
    home.journal.write_text("time,volts\n" * 1000)
    journal = Journal(home)
    assert journal.damage is not None
    assert Path(journal.damage.moved_to, "journal.db").read_text().startswith("time,volts")


def test_a_reader_says_damage_in_words(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    home.folder.mkdir()
    home.journal.write_text("time,volts\n" * 1000)
    with pytest.raises(StoreError) as told:
        JournalReader(home)
    assert told.value.kind == "damaged"
    assert "restart the service" in told.value.remedy
