"""A disk or a folder that may not be written: said in words at the start, and still readable."""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.base.errors import StoreError
from monitor.store.database import connect
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.making import DAY_US, FIRST_DAY, filled, second, times

NOBODY = 65_534


@contextmanager
def an_ordinary_user() -> Iterator[None]:
    """The superuser may write anywhere, so a test that it runs becomes somebody else for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def home() -> Iterator[Home]:
    """A journal in a folder that may be read, and not written; in a place that everybody may enter."""
    above = Path(tempfile.mkdtemp(prefix="keyoff-read-only-"))
    above.chmod(0o755)
    home = Home(above / "car")
    filled(home).close()
    for path in home.folder.iterdir():
        path.chmod(0o444)
    home.folder.chmod(0o555)
    yield home
    home.folder.chmod(0o755)
    shutil.rmtree(above)


@pytest.mark.parametrize("below", ["", "new"])
def test_the_service_says_that_it_may_not_write(home: Home, below: str) -> None:
    with an_ordinary_user(), pytest.raises(StoreError) as told:
        Journal(Home(home.folder / below))
    assert told.value.kind == "read_only"
    assert str(home.folder) in told.value.what
    assert "make the folder writable" in told.value.remedy


def test_a_journal_that_may_not_be_written_is_read(home: Home) -> None:
    with an_ordinary_user(), JournalReader(home) as reader:
        assert len(times(list(reader.blocks()))) == 2000
    assert sorted(path.name for path in home.folder.iterdir()) == ["journal.db", "lock"]


def test_a_journal_that_becomes_read_only_is_told_and_goes_on(tmp_path: Path) -> None:
    """As a disk that the kernel remounts: writing fails with words, and works again later, without a restart."""
    opened: list[sqlite3.Connection] = []

    def seam(uri: str) -> sqlite3.Connection:
        opened.append(connect(uri))
        return opened[-1]

    journal = Journal(Home(tmp_path / "car"), connect=seam)
    journal.commit(second(0, FIRST_DAY * DAY_US))
    opened[0].execute("PRAGMA query_only = 1")
    with pytest.raises(StoreError) as told:
        journal.commit(second(1, FIRST_DAY * DAY_US))
    assert told.value.kind == "read_only"
    opened[0].execute("PRAGMA query_only = 0")
    journal.commit(second(1, FIRST_DAY * DAY_US))
    with JournalReader(journal.home) as reader:
        assert len(times(list(reader.blocks()))) == 20
