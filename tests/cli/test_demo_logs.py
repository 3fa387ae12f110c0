"""The command line with the real source and engine, on the demo logs: all rows accounted for, no word on stderr."""

import gzip
from pathlib import Path

import pytest

from monitor.base.results import Result
from tests.cli.run import keyoff

DEMOS = sorted((Path(__file__).parents[2] / "replay_logs").glob("*.csv.gz"))


def rows_in(log: Path) -> int:
    with gzip.open(log, "rt", encoding="utf-8") as file:
        return sum(1 for _ in file) - 1  # the header


def test_there_are_demo_logs() -> None:
    assert len(DEMOS) >= 8


@pytest.mark.parametrize("log", DEMOS, ids=lambda log: log.name)
def test_each_row_of_a_demo_log_is_in_the_document(log: Path) -> None:
    result = Result.model_validate_json(keyoff("replay", str(log), "--json").stdout)
    assert result.log.samples + sum(result.log.refused.values()) + result.log.duplicates == rows_in(log)
    assert result.stands
    assert result.drives
    whole = sorted([*result.stands, *result.drives], key=lambda part: part.start)
    assert whole[0].start == result.log.first
    assert [part.end for part in whole[:-1]] == [part.start for part in whole[1:]]


@pytest.mark.parametrize("log", DEMOS, ids=lambda log: log.name)
def test_nothing_but_the_text_is_said_of_a_demo_log(log: Path) -> None:
    done = keyoff("replay", str(log))
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("width", ["120", "60"])
def test_the_text_of_a_demo_log_names_each_stand_and_drive(width: str) -> None:
    log = str(DEMOS[0])
    result = Result.model_validate_json(keyoff("replay", log, "--json").stdout)
    text = keyoff("replay", log, COLUMNS=width).stdout
    assert sum(text.count(word) for word in ("Stood ", "Standing ")) == len(result.stands)
    assert sum(text.count(word) for word in ("Drove ", "Engine running for ")) == len(result.drives)


def test_several_logs_are_one() -> None:
    pair = [str(DEMOS[0]), str(DEMOS[1])]
    one = [Result.model_validate_json(keyoff("replay", log, "--json").stdout).log for log in pair]
    both = Result.model_validate_json(keyoff("replay", *reversed(pair), "--json").stdout).log
    assert both.samples + both.duplicates == sum(log.samples + log.duplicates for log in one)
    assert (both.first, both.last) == (min(log.first or 0 for log in one), max(log.last or 0 for log in one))
