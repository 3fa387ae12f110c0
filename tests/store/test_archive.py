import shutil
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest

from monitor.base.errors import StoreError
from monitor.base.samples import Block
from monitor.base.tables.store import StoreTable
from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from monitor.store import upkeep
from monitor.store.archive import day_path
from monitor.store.disk import Disk
from monitor.store.entries import Entry, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.making import (
    DAY_US,
    FIRST_DAY,
    ROOMY,
    SHORT,
    block,
    exactly,
    filled,
    here,
    home_in,
    plain,
    records,
    times,
)  # fmt: skip

NOW = (FIRST_DAY + 10) * DAY_US


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return home_in(tmp_path)


def test_the_stream_is_the_same_after_days_were_archived(home: Home) -> None:
    journal = filled(home, days=3)
    before = plain(records(home))
    assert upkeep.roll_over(home, ROOMY, here(journal)) == "archived 2024-10-04, 2024-10-05, 2024-10-06"
    assert plain(records(home)) == before
    assert plain(records(home, limit=1000)) == before


def test_the_samples_are_the_same_after_days_were_archived(home: Home) -> None:
    journal = filled(home, days=3)
    with JournalReader(home) as reader:
        before = [exactly(b) for b in reader.blocks() if isinstance(b, Block)]
        upkeep.roll_over(home, ROOMY, here(journal))
        after = [b for b in reader.blocks() if isinstance(b, Block)]
    joined = Block(*(np.concatenate([getattr(b, name) for b in after]) for name in ("t_us", "volts", "amps")))
    assert [exactly(joined)] == before


def test_a_channel_that_some_records_lack_is_still_absent_there(home: Home) -> None:
    journal = Journal(home)
    start = FIRST_DAY * DAY_US
    whole = block(start)
    for part in (Block(whole.t_us, whole.volts), block(start + 1_000_000), block(start + DAY_US)):
        journal.commit(Entry(block=part, checkpoint={}))
    journal.commit(Entry(checkpoint={}))
    upkeep.roll_over(home, ROOMY, here(journal))
    with JournalReader(home) as reader:
        assert [b.amps is None for b in reader.blocks() if isinstance(b, Block)] == [True, False, False]
    assert [r.block.amps is None for r in records(home) if isinstance(r, Samples)] == [True, False, False]


def test_archived_samples_leave_the_journal(home: Home) -> None:
    journal = filled(home)
    upkeep.roll_over(home, ROOMY, here(journal))
    with JournalReader(home) as reader:
        kept = reader.connection.execute("SELECT min(t_us) FROM feed WHERE kind = 0").fetchone()[0]
    assert kept == (FIRST_DAY + 1) * DAY_US


def test_pandas_duckdb_and_replay_read_a_day(home: Home) -> None:
    journal = filled(home)
    with JournalReader(home) as reader:
        (day,) = reader.blocks(end_us=(FIRST_DAY + 1) * DAY_US)
    assert isinstance(day, Block)
    upkeep.roll_over(home, ROOMY, here(journal))
    path = day_path(home, FIRST_DAY)

    frame = pd.read_parquet(path)
    assert list(frame.columns) == ["time", "volts", "amps"]
    assert frame["time"].astype("int64").tolist() == day.t_us.tolist()
    assert np.array_equal(frame["amps"].to_numpy(), day.amps, equal_nan=True)

    with duckdb.connect() as database:
        question = "SELECT count(*), min(volts), count(amps) FROM read_parquet(?)"
        found = database.execute(question, [str(path)]).fetchone()
    assert found == (len(day), float(day.volts.min()), int(np.count_nonzero(~np.isnan(day.amps))))

    read = list(open_logs([path], LogSettings()).blocks())
    for name in ("t_us", "volts", "amps"):
        theirs = np.concatenate([getattr(part, name) for part in read])
        assert np.array_equal(getattr(day, name), theirs, equal_nan=name != "t_us")


class Stopped(Exception):  # noqa: N818 - no error: the power goes
    """The power goes off."""


class CountedDisk(Disk):
    """Notes each step, and goes off before the chosen one."""

    def __init__(self, last: int = 10**9) -> None:
        self.steps: list[str] = []
        self._last = last

    def _step(self, what: str) -> None:
        if len(self.steps) == self._last:
            raise Stopped
        self.steps.append(what)

    def sync(self, path: Path) -> None:
        self._step(f"sync {path.name}")
        super().sync(path)

    def rename(self, old: Path, new: Path) -> None:
        self._step(f"rename {old.name} {new.name}")
        super().rename(old, new)

    def remove(self, path: Path) -> None:
        self._step(f"remove {path.name}")
        super().remove(path)


class CountedWrites:
    """Does the work on the journal, and goes off before the chosen piece."""

    def __init__(self, journal: Journal, disk: CountedDisk) -> None:
        self._journal, self._disk = journal, disk

    def __call__(self, work: Callable[[Journal], object]) -> object:
        self._disk._step("write")
        return work(self._journal)


def test_a_day_is_on_the_medium_before_it_leaves_the_journal(home: Home) -> None:
    disk = CountedDisk()
    journal = filled(home)
    upkeep.roll_over(home, ROOMY, CountedWrites(journal, disk), disk)
    steps = disk.steps[disk.steps.index("sync 2024-10-04.parquet.part") :]
    assert steps[:4] == [
        "sync 2024-10-04.parquet.part",
        "rename 2024-10-04.parquet.part 2024-10-04.parquet",
        "sync archive",
        "write",
    ]


def test_stopped_anywhere_nothing_is_lost_or_doubled(home: Home, tmp_path: Path) -> None:
    journal = filled(home, days=2)
    journal.close()
    before = plain(records(home))
    whole = CountedDisk()
    copy = home_in(tmp_path / "whole")
    shutil.copytree(home.folder, copy.folder)
    journal = Journal(copy)
    upkeep.roll_over(copy, ROOMY, CountedWrites(journal, whole), whole)
    journal.close()
    assert len(whole.steps) > 10
    for last in range(len(whole.steps)):
        copy = home_in(tmp_path / str(last))
        shutil.copytree(home.folder, copy.folder)
        disk = CountedDisk(last)
        journal = Journal(copy)
        with pytest.raises(Stopped):
            upkeep.roll_over(copy, ROOMY, CountedWrites(journal, disk), disk)
        journal.close()
        assert plain(records(copy)) == before
        journal = Journal(copy)
        upkeep.roll_over(copy, ROOMY, here(journal))
        assert plain(records(copy)) == before
        with JournalReader(copy) as reader:
            assert reader.closed_days() == []
            assert len(reader.archived_days()) == 2
        assert sorted(p.name for p in copy.archive.iterdir()) == ["2024-10-04.parquet", "2024-10-05.parquet"]
        journal.close()


def test_a_day_that_does_not_read_back_stays_in_the_journal(home: Home) -> None:
    class Lying(Disk):
        def sync(self, path: Path) -> None:
            raise OSError(5, "Input/output error")

    journal = filled(home)
    before = plain(records(home))
    with pytest.raises(StoreError) as told:
        upkeep.roll_over(home, ROOMY, here(journal), Lying())
    assert told.value.kind == "failing"
    assert plain(records(home)) == before


def test_what_a_restart_needs_is_not_archived(home: Home) -> None:
    journal = Journal(home)
    for index in range(3):
        journal.commit(Entry(block=block((FIRST_DAY + index) * DAY_US)))
    assert upkeep.roll_over(home, ROOMY, here(journal)) == "no closed day to archive"
    journal.commit(Entry(checkpoint={}))
    journal.commit(Entry(checkpoint={}))
    assert upkeep.roll_over(home, ROOMY, here(journal)).startswith("archived")


def test_the_open_day_is_not_archived(home: Home) -> None:
    journal = filled(home)
    upkeep.roll_over(home, ROOMY, here(journal))
    assert not day_path(home, FIRST_DAY + 1).exists()


def test_old_days_are_deleted_and_counted(home: Home) -> None:
    journal = filled(home, days=3)
    upkeep.roll_over(home, ROOMY, here(journal))
    keep = StoreTable(keep_s=7.5 * 86400, spare_bytes=1.0)
    told = upkeep.retention(home, keep, here(journal), NOW)
    assert told == "deleted the samples of 2024-10-04 to 2024-10-05 (2 days)"
    with JournalReader(home) as reader:
        left = times(list(reader.blocks()))
        assert min(left) == (FIRST_DAY + 2) * DAY_US
        assert sum(reader.lost().values()) == 6000 - len(left)
        assert len(reader.events()) == 120
    assert [path.name for path in home.archive.iterdir()] == ["2024-10-06.parquet"]


def test_too_many_bytes_delete_the_oldest_days(home: Home) -> None:
    journal = filled(home, days=3)
    upkeep.roll_over(home, ROOMY, here(journal))
    with JournalReader(home) as reader:
        sizes = [size for _, size in reader.archived_days()]
    most = home.journal.stat().st_size + sum(sizes) - sizes[0]
    upkeep.retention(home, StoreTable(most_bytes=most, spare_bytes=1.0), here(journal), NOW)
    assert not day_path(home, FIRST_DAY).exists()
    assert day_path(home, FIRST_DAY + 1).exists()


def test_a_cursor_in_a_deleted_day_goes_on_after_it_and_is_told_its_loss(home: Home) -> None:
    journal = filled(home, days=2)
    position = [r for r in records(home) if isinstance(r, Samples)][3].position
    upkeep.roll_over(home, ROOMY, here(journal))
    upkeep.retention(home, StoreTable(keep_s=8.5 * 86400), here(journal), NOW)
    lost, after, found = 0, position, []
    with JournalReader(home) as reader:
        while True:
            page = reader.page(after, 7)
            journal.move("sink", page.end, page.lost)
            lost, after = lost + page.lost, page.end
            found += [r for r in page.records if isinstance(r, Samples)]
            if page.done:
                break
        assert reader.cursor("sink").lost == lost == 1000 - 40
    assert int(found[0].block.t_us[0]) == (FIRST_DAY + 1) * DAY_US
    assert sum(len(r.block) for r in found) == 3000


def test_a_file_that_somebody_took_away_is_said(home: Home) -> None:
    journal = filled(home)
    upkeep.roll_over(home, ROOMY, here(journal))
    day_path(home, FIRST_DAY).unlink()
    with JournalReader(home) as reader:
        assert [item for item in reader.blocks() if isinstance(item, int)] == [1000]


def test_where_the_disk_is_short_no_day_is_archived(home: Home) -> None:
    journal = filled(home)
    assert upkeep.roll_over(home, SHORT, here(journal)) == "no day archived: the disk is nearly full"
    assert not home.archive.exists()
    assert upkeep.roll_over(home, ROOMY, here(journal)) == "archived 2024-10-04"
