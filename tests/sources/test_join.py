"""Several logs in one call."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.errors import InputError
from monitor.base.ledger import Ledger
from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from monitor.sources.combine import Run
from monitor.sources.join import Join, Part
from tests.sources.conftest import Read, Refused, read_all

T0 = 1_700_000_000


def _log(start: int, stop: int, step: int = 1, volts: str = "12.5") -> str:
    return "time,volts\n" + "".join(f"{T0 + i},{volts}\n" for i in range(start, stop, step))


def test_logs_are_joined_in_time_order_whatever_the_order_given(read: Read) -> None:
    whole = read(_log(100, 200), _log(0, 100), _log(300, 400))
    assert [t - T0 for t in whole.seconds] == [*range(200), *range(300, 400)]
    assert whole.ledger.samples == 300


def test_overlap_is_counted_as_duplicates(read: Read) -> None:
    whole = read(_log(0, 100, volts="12.1"), _log(60, 160, volts="12.2"))
    assert len(whole.t_us) == 160
    assert whole.ledger.duplicates == 40
    assert whole.volts[99] == 12.1  # the log that began first goes before


def test_logs_that_interleave(read: Read) -> None:
    whole = read(_log(0, 100, 2), _log(1, 100, 2))
    assert [t - T0 for t in whole.seconds] == list(range(100))
    assert whole.ledger.duplicates == 0


def test_the_same_log_twice_is_all_duplicates(read: Read) -> None:
    whole = read(_log(0, 50), _log(0, 50))
    assert (whole.ledger.samples, whole.ledger.duplicates) == (50, 50)


def test_logs_of_different_channels_complete_each_other(read: Read) -> None:
    amps = "time,amps\n" + "".join(f"{T0 + i},-1\n" for i in range(0, 10, 2))
    whole = read(_log(0, 10), amps)
    assert whole.log.channels == ("volts", "amps")
    assert whole.amps is not None
    assert np.isnan(whole.amps).tolist() == [False, True] * 5
    assert (whole.log.merged, whole.ledger.duplicates) == (5, 0)


def test_relative_logs_of_different_channels_share_their_start(read: Read) -> None:
    whole = read("t_s,volts\n1,12.5\n2,12.4\n", "t_s,amps\n1,-1\n2,-2\n")
    assert whole.seconds == [1.0, 2.0]
    assert whole.ledger.samples == 2


@pytest.mark.parametrize("other", ["t_s,volts\n1,12.5\n", "time,volts\n1700000000,12.5\n"])
def test_a_relative_log_has_no_place_beside_another(refused: Refused, other: str) -> None:
    assert "count from the start" in refused("t_s,volts\n1,12.5\n", other).what


def test_directories_and_patterns(tmp_path: Path) -> None:
    for name, start in (("b.csv", 0), ("a.csv", 10), ("c.txt", 20), ("README.md", 0), (".hidden.csv", 0)):
        (tmp_path / name).write_text(_log(start, start + 10))
    assert len(read_all(open_logs([tmp_path], LogSettings())).t_us) == 30
    assert len(read_all(open_logs([tmp_path / "*.csv"], LogSettings())).t_us) == 20
    twice = read_all(open_logs([tmp_path, tmp_path / "a.csv"], LogSettings()))
    assert twice.ledger.duplicates == 0  # each file once


def test_what_is_no_log_in_a_directory_is_passed_over_and_said(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(_log(0, 10))
    (tmp_path / "notes.txt").write_text("fuse 23 out at 21:40\n")
    whole = read_all(open_logs([tmp_path], LogSettings()))
    assert len(whole.t_us) == 10
    assert any("passed over" in notice and "notes.txt" in notice for notice in whole.log.notices)
    with pytest.raises(InputError, match="not a log"):
        open_logs([tmp_path / "a.csv", tmp_path / "notes.txt"], LogSettings())


_times = st.lists(st.integers(0, 40), unique=True, max_size=20).map(sorted)


@given(st.lists(_times, min_size=1, max_size=4), st.integers(1, 7))
def test_joining_is_the_sorted_union_however_the_logs_are_cut(logs: list[list[int]], size: int) -> None:
    def runs(times: list[int], log: int) -> list[Run]:
        return [
            Run(np.array(times[i : i + size], np.int64), {"volts": np.full(len(times[i : i + size]), 12.0 + log)})
            for i in range(0, len(times), size)
        ]

    ledger = Ledger()
    parts = [Part(times[0] if times else 99, iter(runs(times, log))) for log, times in enumerate(logs)]
    out = list(Join(ledger, ("volts",)).runs(parts))
    assert [t for run in out for t in run.t_us.tolist()] == sorted(set().union(*logs))
    assert ledger.duplicates == sum(map(len, logs)) - len(set().union(*logs))
