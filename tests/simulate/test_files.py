"""Logs and truth as files, and the command that writes them."""

import gzip
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from pyarrow import csv

from monitor.base.errors import SettingError
from monitor.base.results import Result
from monitor.simulate import run
from monitor.simulate.files import line, truth_path, write
from tests.cli.run import keyoff
from tests.simulate.conftest import Make

SCENARIO = """name = "van"
start = 2025-03-03T18:00:00+00:00
days = 0.1
[[trips]]
at = 19:00:00
duration = "10 min"
"""


@pytest.mark.parametrize("name", ["log.csv", "log.csv.gz", "log.parquet"])
def test_a_log_holds_the_samples_to_the_last_digit(make: Make, tmp_path: Path, name: str) -> None:
    done = run(make(days=0.2, logger={"amps_noise": 0.001, "amps_resolution": 0.001, "rate": 4.0}))
    truth = write(done, tmp_path / name)
    block = next(done.blocks(10**9))
    table = pq.read_table(tmp_path / name) if name.endswith("parquet") else csv.read_csv(tmp_path / name)
    assert table.column_names == ["time", "volts", "amps", "celsius"]
    times = table["time"].cast(pa.timestamp("us", "UTC")).cast("int64").to_numpy()
    assert np.array_equal(times, block.t_us)
    for channel in ("volts", "amps", "celsius"):
        assert np.array_equal(table[channel].to_numpy(), getattr(block, channel))
    assert Result.model_validate_json(truth.read_text(encoding="utf-8")).stands[0].start == done.truth.stands[0].start


@pytest.mark.parametrize("name", ["log.csv.gz", "log.parquet"])
def test_the_same_scenario_gives_the_same_bytes(make: Make, tmp_path: Path, name: str) -> None:
    written = []
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        truth = write(run(make(days=0.1)), tmp_path / folder / name)
        written.append(((tmp_path / folder / name).read_bytes(), truth.read_bytes()))
    assert written[0] == written[1]
    if name.endswith("gz"):
        assert written[0][0][4:8] == bytes(4)  # RFC 1952: no time of writing


@pytest.mark.parametrize(
    ("rate", "first", "second"),
    [
        (1.0, "2025-03-03T18:00:00Z", "2025-03-03T18:00:01Z"),
        (10.0, "2025-03-03T18:00:00.000Z", "2025-03-03T18:00:00.100Z"),
        (3.0, "2025-03-03T18:00:00.000000Z", "2025-03-03T18:00:00.333333Z"),
    ],
)
def test_times_are_written_no_finer_than_the_rate_needs(
    make: Make, tmp_path: Path, rate: float, first: str, second: str
) -> None:
    write(run(make(days=0.01, logger={"rate": rate})), tmp_path / "log.csv")
    lines = (tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()
    assert [text.split(",")[0] for text in lines[:3]] == ["time", first, second]


def test_columns_are_those_of_the_logger(make: Make, tmp_path: Path) -> None:
    write(run(make(days=0.01, logger={"channels": ["volts"]})), tmp_path / "log.csv.gz")
    with gzip.open(tmp_path / "log.csv.gz", "rt", encoding="utf-8") as file:
        assert file.readline() == "time,volts\n"


def test_a_line_leaves_empty_what_is_not_there(make: Make) -> None:
    block = next(run(make(days=0.01, logger={"channels": ["amps"]})).blocks(10))
    assert line(block, 0).split(",")[1] == ""


def test_a_strange_ending_is_refused_with_the_known_ones() -> None:
    with pytest.raises(SettingError) as told:
        truth_path(Path("log.xls"))
    assert ".csv.gz" in told.value.remedy


def test_the_command_writes_log_and_truth_and_takes_seed_days_and_rate(tmp_path: Path) -> None:
    (tmp_path / "van.toml").write_text(SCENARIO, encoding="utf-8")
    ran = keyoff("simulate", "van.toml", "-o", "log.csv", "--seed", "9", "--days", "0.05", "--rate", "2", at=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout == "log.csv: 8640 samples; truth in log.truth.json\n"
    assert len((tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()) == 8641
    assert Result.model_validate_json((tmp_path / "log.truth.json").read_text(encoding="utf-8")).vehicle == "van"


def test_the_command_tells_a_mistake_in_two_lines(tmp_path: Path) -> None:
    (tmp_path / "van.toml").write_text(SCENARIO.replace("[[trips]]", "[[tripps]]"), encoding="utf-8")
    ran = keyoff("simulate", "van.toml", "-o", "log.csv", at=tmp_path)
    assert ran.returncode == 2
    assert ran.stdout == ""
    assert 'unknown key "tripps"' in ran.stderr
    assert 'Try: did you mean "trips"?' in ran.stderr
    assert len(ran.stderr.splitlines()) == 2


@pytest.mark.parametrize("words", [(), ("van.toml",), ("van.toml", "-o", "a.csv", "--live", "pty")])
def test_the_command_wants_a_scenario_and_one_place_to_put_it(tmp_path: Path, words: tuple[str, ...]) -> None:
    ran = keyoff("simulate", *words, at=tmp_path)
    assert ran.returncode == 2
    assert "expected a scenario and one of -o LOG and --live WIRE" in ran.stderr
