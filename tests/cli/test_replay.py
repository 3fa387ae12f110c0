"""What `keyoff replay` hands on: settings to the source, facts and asked time to the engine, the result to the page.

Source and engine are stand-ins here; the real ones meet the command line in the tests of the demo logs.
"""

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.base.ledger import Ledger
from monitor.base.results import Log, Result, Stand
from monitor.base.samples import Block
from monitor.base.vehicle import LogSettings
from monitor.cli import main
from monitor.detect.facts import Facts

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US


@dataclass
class StandIn:
    """A day of hourly samples from 1970-01-01T00:00Z, and what was asked of source and engine."""

    asked: dict[str, Any] = field(default_factory=dict)
    ledger: Ledger = field(default_factory=Ledger)
    notices: list[str] = field(default_factory=lambda: ["passed over: readme.txt"])
    relative: bool = False
    assumes_utc: bool = False
    others: int = 0
    merged: int = 0

    def open_logs(self, paths: Sequence[Path], settings: LogSettings, **options: Any) -> "StandIn":
        self.asked |= {"paths": list(paths), "settings": settings, **options}
        return self

    def blocks(self) -> Iterator[Block]:
        t_us = np.arange(24, dtype=np.int64) * HOUR_US
        self.ledger.samples = 24
        yield Block(t_us, np.full(24, 12.5))

    def replay(self, blocks: Iterable[Block], ledger: Ledger, facts: Facts, vehicle_name: str) -> Result:
        times = np.concatenate([block.t_us for block in blocks])
        self.asked |= {"facts": facts, "times": times}
        log = Log(first=int(times[0]), last=int(times[-1]), samples=ledger.samples, refused=ledger.refused)
        return Result(vehicle=vehicle_name, log=log, stands=[Stand(start=int(times[0]), end=int(times[-1]))])


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> StandIn:
    stand_in = StandIn()
    monkeypatch.setattr("monitor.sources.open_logs", stand_in.open_logs)
    monkeypatch.setattr("monitor.detect.replay", stand_in.replay)
    return stand_in


@pytest.fixture
def keyoff(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Callable[..., str]:
    def run(*words: object) -> str:
        monkeypatch.setattr(sys, "argv", ["keyoff", *map(str, words)])
        assert main() == 0, capfd.readouterr().err
        said = capfd.readouterr()
        assert said.err == ""
        return said.out

    return run


VEHICLE = """
name = "Kastenwagen, grün"
[battery]
nominal = "24 V"
kind = "agm"
capacity = "180 Ah"
[log]
amps = { unit = "mA" }
time = { zone = "Etc/GMT-5" }
gap = "90 s"
zero_offset = "3 mA"
"""


def test_json_is_the_result_document(stand_in: StandIn, keyoff: Callable[..., str]) -> None:
    result = Result.model_validate(json.loads(keyoff("replay", "a.csv", "--json")))
    assert result.log.samples == 24
    assert result.stands == [Stand(start=0, end=23 * HOUR_US)]


def test_text_is_for_a_person(stand_in: StandIn, keyoff: Callable[..., str]) -> None:
    assert "Stood 23 h, from the beginning of the log" in keyoff("replay", "a.csv")


def test_all_logs_are_opened_in_one_call(stand_in: StandIn, keyoff: Callable[..., str]) -> None:
    keyoff("replay", "a.csv", "b.csv")
    assert stand_in.asked["paths"] == [Path("a.csv"), Path("b.csv")]


def test_the_vehicle_file_reaches_source_and_engine(
    stand_in: StandIn, keyoff: Callable[..., str], tmp_path: Path
) -> None:
    car = tmp_path / "car.toml"
    car.write_text(VEHICLE, encoding="utf-8")
    text = keyoff("replay", "a.csv", "--vehicle", car)
    assert text.startswith("Kastenwagen, grün\n")
    assert "Times     Etc/GMT-5" in text
    assert stand_in.asked["settings"].amps.unit == "mA"
    assert stand_in.asked["nominal_v"] == 24.0
    assert stand_in.asked["facts"] == Facts(
        nominal_v=24.0, kind="agm", capacity_ah=180.0, zero_offset_a=0.003, gap_s=90.0
    )


@pytest.mark.parametrize(("words", "sign"), [([], "as_logged"), (["--current-sign", "reversed"], "reversed")])
def test_the_sign_of_the_current_reaches_the_source(
    stand_in: StandIn, keyoff: Callable[..., str], words: list[str], sign: str
) -> None:
    keyoff("replay", "a.csv", *words)
    assert stand_in.asked["current_sign"] == sign


def test_only_the_asked_time_reaches_the_engine_and_the_rest_is_counted(
    stand_in: StandIn, keyoff: Callable[..., str]
) -> None:
    words = ("--from", "1970-01-01T06:00", "--to", "1970-01-01T12:00", "--json")
    log = json.loads(keyoff("replay", "a.csv", *words))["log"]
    assert stand_in.asked["times"].tolist() == [hour * HOUR_US for hour in range(6, 12)]
    assert (log["samples"], log["refused"]) == (6, {"outside the asked time": 18})


def test_asked_times_are_on_the_clock_of_the_vehicle_files_zone(
    stand_in: StandIn, keyoff: Callable[..., str], tmp_path: Path
) -> None:
    car = tmp_path / "car.toml"
    car.write_text('[log.time]\nzone = "Etc/GMT-5"\n')
    keyoff("replay", "a.csv", "--vehicle", car, "--from", "1970-01-01T20:00")
    assert stand_in.asked["times"][0] == 15 * HOUR_US


def test_no_progress_is_asked_for_when_stderr_is_not_a_terminal(stand_in: StandIn, keyoff: Callable[..., str]) -> None:
    keyoff("replay", "a.csv")
    assert stand_in.asked["progress"] is None


def test_times_written_without_a_zone_are_shown_as_written(stand_in: StandIn, keyoff: Callable[..., str]) -> None:
    stand_in.assumes_utc = True
    assert "Times     UTC\n" in keyoff("replay", "a.csv")


def test_times_since_the_start_of_the_log_have_no_date(stand_in: StandIn, keyoff: Callable[..., str]) -> None:
    stand_in.relative = True
    text = keyoff("replay", "a.csv")
    assert "Times     since the start of the log" in text
    assert "Log       Day 1 00:00 to Day 1 23:00, 23 h" in text
    assert "\nDay 1\n" in text


def test_what_the_source_noticed_is_in_the_document(stand_in: StandIn, keyoff: Callable[..., str]) -> None:
    stand_in.others, stand_in.merged, stand_in.relative = 7, 3, True
    notices = json.loads(keyoff("replay", "a.csv", "--json"))["log"]["notices"]
    assert [notice["kind"] for notice in notices] == ["source", "relative_times", "other_rows", "merged_rows"]
    assert notices[0]["text"] == "passed over: readme.txt"
    assert notices[2]["text"].startswith("7 rows")
