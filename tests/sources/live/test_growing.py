"""A file that another program writes: appended to, rotated, cut off, copied anew, and read again after a restart."""

import os
from pathlib import Path

import pytest

from monitor.sources.live import Feed, LiveLogger, open_live
from tests.sources.live.conftest import Said, car, feed, until, until_state
from tests.sources.live.wires import HEAD, START_US, rows


def follow(path: Path) -> LiveLogger:
    return open_live(f"file:{path}", car())


def times(first: int, count: int) -> list[int]:
    return [START_US + (first + i) * 1_000_000 for i in range(count)]


def append(path: Path, data: bytes) -> None:
    with path.open("ab") as file:
        file.write(data)


def rows_of(logger: LiveLogger, count: int, said: Said) -> Said:
    return until(logger, lambda s: len(s.t_us) >= count, f"{count} rows", said)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "volts.csv"
    path.write_bytes(HEAD + rows(30))
    return path


def test_what_is_there_and_what_is_appended_are_rows_and_half_a_line_waits(path: Path) -> None:
    logger = follow(path)
    said = rows_of(logger, 30, Said())
    assert all(arrival.again for arrival in said.arrivals if arrival.rows is not None)
    append(path, rows(1, first=30)[:-3])
    until(logger, lambda s: len(s.arrivals) > 8, "time has passed", said)
    assert len(said.t_us) == 30
    append(path, rows(1, first=30)[-3:])
    rows_of(logger, 31, said)
    assert said.t_us == times(0, 31)
    assert not said.arrivals[-1].again
    assert not said.refused
    logger.close()


def test_a_rotated_file_is_read_to_its_end_and_the_new_one_from_its_beginning(path: Path) -> None:
    logger = follow(path)
    said = rows_of(logger, 30, Said())
    append(path, rows(10, first=30) + b"17500000")
    path.rename(path.with_suffix(".1"))
    path.write_bytes(HEAD + rows(10, first=40))
    rows_of(logger, 50, said)
    assert said.t_us == times(0, 50)
    assert said.refused == {"cut-off last line": 1, "header repeated": 1}
    logger.close()


def test_a_file_cut_off_and_begun_anew_is_read_from_its_beginning(path: Path) -> None:
    logger = follow(path)
    said = rows_of(logger, 30, Said())
    path.write_bytes(HEAD + rows(5, first=100))
    rows_of(logger, 35, said)
    path.write_bytes(HEAD + rows(40, first=200))  # longer than our place at the first look
    rows_of(logger, 75, said)
    assert said.t_us == times(0, 30) + times(100, 5) + times(200, 40)
    logger.close()


def test_a_copy_made_anew_with_more_in_it_is_read_on_and_nothing_repeats(path: Path) -> None:
    logger = follow(path)
    said = rows_of(logger, 30, Said())
    for count in (35, 50):
        copy = path.with_suffix(".copy")
        copy.write_bytes(HEAD + rows(count))
        copy.replace(path)
        rows_of(logger, count, said)
    assert said.t_us == times(0, 50)
    assert not said.refused
    logger.close()


def test_a_file_that_is_not_there_is_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "volts.csv"
    logger = follow(path)
    said = until_state(logger, "refused")
    assert said.why == "the file is not there: start the program that writes it; it is waited for"
    path.write_bytes(HEAD + rows(25))
    rows_of(logger, 25, said)
    logger.close()


@pytest.mark.parametrize("make", ["folder", "pipe"])
def test_what_is_no_file_is_refused(tmp_path: Path, make: str) -> None:
    path = tmp_path / "it"
    path.mkdir() if make == "folder" else os.mkfifo(path)
    said = until_state(follow(path), "refused")
    assert "it is no file" in said.why


def test_after_a_restart_what_was_written_meanwhile_is_taken_and_the_rest_is_not_repeated(path: Path) -> None:
    logger = follow(path)
    said = rows_of(logger, 30, Said())
    logger.close()
    first = Feed()
    before = feed(said.arrivals, first)
    append(path, rows(40, first=30))
    logger = follow(path)
    said = rows_of(logger, 70, Said())
    append(path, rows(5, first=70))
    rows_of(logger, 75, said)
    logger.close()
    after = feed(said.arrivals, Feed(last_us=before.t_us[-1], ledger=before.ledger))
    assert before.t_us + after.t_us == times(0, 75)
    assert after.ledger.samples == 75
    assert not after.ledger.clock_steps
