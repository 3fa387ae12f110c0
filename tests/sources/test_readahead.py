"""The thread that reads ahead ends when its consumer does."""

import threading
from collections.abc import Generator
from pathlib import Path

import pytest

from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from monitor.sources.readahead import read_ahead


def _threads() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name.startswith("keyoff-read-ahead")]


class Source:
    """Counts without end, and notes when it is closed."""

    def __init__(self, fails_at: int | None = None) -> None:
        self.closed = False
        self.made = 0
        self._fails_at = fails_at

    def items(self) -> Generator[int, None, None]:
        try:
            while True:
                if self.made == self._fails_at:
                    raise OSError("card pulled out")
                self.made += 1
                yield self.made
        finally:
            self.closed = True


def test_all_items_come_in_order() -> None:
    assert list(read_ahead(x for x in range(100))) == list(range(100))


def test_a_consumer_that_stops_early_ends_the_thread_and_closes_the_source() -> None:
    source = Source()
    items = read_ahead(source.items())
    assert [next(items), next(items)] == [1, 2]
    items.close()
    assert source.closed
    assert _threads() == []


def test_an_error_in_the_consumer_ends_the_thread() -> None:
    source = Source()

    def consume() -> float:
        return sum(1 / (item - 3) for item in read_ahead(source.items()))

    with pytest.raises(ZeroDivisionError):
        consume()
    assert source.closed
    assert _threads() == []


def test_an_error_in_the_source_reaches_the_consumer_after_the_items_before_it() -> None:
    items = read_ahead(Source(fails_at=3).items())
    assert [next(items) for _ in range(3)] == [1, 2, 3]
    with pytest.raises(OSError, match="card pulled out"):
        next(items)
    assert _threads() == []


def test_it_reads_only_a_few_items_ahead() -> None:
    source = Source()
    items = read_ahead(source.items(), depth=2)
    next(items)
    items.close()
    assert source.made <= 5  # one taken, two ready, one in hand, one more after the queue was emptied


def test_blocks_left_half_read_leave_no_thread(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,volts\n" + "".join(f"{i},12.5\n" for i in range(5000)))
    blocks = open_logs([path], LogSettings(), chunk_bytes=100).blocks()
    next(blocks)
    assert _threads() != []
    blocks.close()  # type: ignore[attr-defined]  # a generator, though the door promises an iterator only
    assert _threads() == []
