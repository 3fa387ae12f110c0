"""Archived days read by other processes: the same records, the same losses, and no library of Parquet in this one."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.base.errors import StoreError
from monitor.service import aside
from monitor.service.archived import DayAside
from monitor.store import upkeep
from monitor.store.archive import DayFile, day_path
from monitor.store.entries import Page
from monitor.store.home import Home
from monitor.store.reader import JournalReader
from monitor.store.stream import OpenDay
from tests.store.making import FIRST_DAY, ROOMY, filled, here, home_in, plain

DEADLINE_S = 120


def pages(home: Home, archived: OpenDay) -> list[Page]:
    """All of the journal."""
    found: list[Page] = []
    with JournalReader(home, archived) as reader:
        while not found or not found[-1].done:
            found.append(reader.page(found[-1].end if found else 0, 4000))
    return found


def told(home: Home, archived: OpenDay) -> list[tuple[object, ...]]:
    """All that is in them."""
    return [(page.end, page.lost, page.done, plain(page.records)) for page in pages(home, archived)]


@pytest.fixture
def home(tmp_path: Path) -> Home:
    made = home_in(tmp_path)
    journal = filled(made, days=3)
    upkeep.roll_over(made, ROOMY, here(journal))
    return made


def cut_off(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:-200])


@pytest.mark.parametrize("harm", [None, Path.unlink, cut_off], ids=["whole", "gone", "damaged"])
def test_the_same_records_and_losses(home: Home, harm: Callable[[Path], object] | None) -> None:
    if harm is not None:
        harm(day_path(home, FIRST_DAY + 1))
    found = told(home, DayAside)
    assert found == told(home, DayFile)
    assert any(lost for _, lost, _, _ in found) == (harm is not None)


def test_a_reader_that_cannot_be_started_loses_nothing(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(aside, "_CHILD", ["/nowhere/python"])
        with pytest.raises(StoreError, match="cannot be started"):
            told(home, DayAside)
    assert told(home, DayAside) == told(home, DayFile)


def test_the_library_stays_out(home: Home) -> None:
    code = f"""
import sys
from pathlib import Path
from monitor.service.archived import DayAside
from monitor.store.home import Home
from monitor.store.reader import JournalReader
with JournalReader(Home(Path({str(home.folder)!r})), DayAside) as reader:
    assert reader.page(0, 4000).records
assert "pyarrow" not in sys.modules
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", timeout=DEADLINE_S)
    assert done.returncode == 0, done.stderr
