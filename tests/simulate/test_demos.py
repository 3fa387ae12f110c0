"""The demo logs: small, complete, described, and what their scenarios make today."""

import csv
import gzip
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from monitor.base.documents import load_document
from monitor.base.errors import SettingError
from monitor.base.results import Result
from monitor.simulate import Scenario
from monitor.simulate.demos import make_demos

FOLDER = Path(__file__).parents[2] / "replay_logs"
NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))
REMADE = "one-event"
LIMIT_BYTES = 8_000_000


def truth(name: str, folder: Path = FOLDER) -> Result:
    return Result.model_validate_json((folder / f"{name}.truth.json").read_text(encoding="utf-8"))


def table(path: Path) -> tuple[list[str], list[datetime], np.ndarray]:
    with gzip.open(path, "rt", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    times = [datetime.fromisoformat(row[0]) for row in rows[1:]]
    return rows[0], times, np.array([[float(cell) for cell in row[1:]] for row in rows[1:]])


def test_there_are_eight_each_with_scenario_log_truth_and_a_paragraph() -> None:
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert len(NAMES) == 8
    files = {path.name for path in FOLDER.iterdir()}
    assert files == {"README.md"} | {n + end for n in NAMES for end in (".toml", ".csv.gz", ".truth.json")}
    assert sorted(line[3:] for line in readme.splitlines() if line.startswith("## ")) == NAMES


def test_all_of_them_are_small() -> None:
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < LIMIT_BYTES


@pytest.mark.parametrize("name", NAMES)
def test_truth_and_log_speak_of_the_same_samples(name: str) -> None:
    log = truth(name).log
    with gzip.open(FOLDER / f"{name}.csv.gz", "rb") as file:
        assert sum(1 for _ in file) == log.samples + 1


@pytest.mark.parametrize("name", NAMES)
def test_its_truth_is_what_the_scenario_makes_today(name: str) -> None:
    from monitor.simulate import run

    made = run(load_document(FOLDER / f"{name}.toml", Scenario)).truth
    same = made.model_dump_json() == truth(name).model_dump_json()
    assert same, "make the demos anew: keyoff simulate --demos replay_logs"


def test_a_demo_made_again_is_the_same(tmp_path: Path) -> None:
    (tmp_path / f"{REMADE}.toml").write_bytes((FOLDER / f"{REMADE}.toml").read_bytes())
    (made,) = make_demos(tmp_path)
    header, times, values = table(made)
    kept_header, kept_times, kept_values = table(FOLDER / f"{REMADE}.csv.gz")
    assert header == kept_header
    assert times == kept_times
    # byte for byte on one machine; another processor's exp and sin may differ in the last bit, which moves a reading
    # that lies on the border of two steps to the other one: then one step, and seldom (steps: 2 mV, 1 mA, 0.1 °C)
    steps = np.abs(values - kept_values) / np.array([0.002, 0.001, 0.1])
    assert np.all(steps < 1.001)
    assert np.mean(steps > 0.001) < 1e-4


def test_a_folder_without_scenarios_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="no scenario"):
        list(make_demos(tmp_path))


def test_each_demo_shows_what_its_paragraph_says() -> None:
    wakes = [w for s in truth("module-wakes").stands for w in s.wake_ups]
    assert len(wakes) > 200
    assert np.median(np.diff([w.start for w in wakes])) / 1e6 == pytest.approx(600, rel=0.05)

    (event,) = [w for s in truth("one-event").stands for w in s.wake_ups]
    assert event.charge_ah == pytest.approx(0.75, rel=0.05)

    levels = [s.sleep_current_a for s in truth("stops-sleeping").stands]
    assert levels == pytest.approx([0.022] * 4 + [0.362] * 6)

    weak = truth("weak-battery")
    assert all(s.sleep_current_a == pytest.approx(0.012) for s in weak.stands)
    assert sum(len(s.failed_starts) for s in weak.stands) == 4
    assert all(7.0 < d.crank.volts_min < 8.0 for d in weak.drives if d.crank and d.crank.volts_min)

    low = truth("undercharging").drives
    assert all(d.charging.volts_median is not None and d.charging.volts_median < 12.8 for d in low)
    assert sum((d.charge_in_ah or 0) - (d.charge_out_ah or 0) for d in low) == pytest.approx(3, abs=0.5)

    short = truth("short-trips")
    gained = sum((x.charge_in_ah or 0) - (x.charge_out_ah or 0) for x in [*short.drives, *short.stands])
    assert -3.0 < gained < 0.0

    mended = truth("repair-half-way").stands
    steps = [step for stand in mended for step in stand.level_steps]
    assert [(round(step.from_a, 3), round(step.to_a, 3)) for step in steps] == [(0.441, 0.021)]
    assert all(wake.end <= steps[0].at + 10**8 for stand in mended for wake in stand.wake_ups)

    sound = truth("sound-week").stands
    assert all(s.sleep_current_a == pytest.approx(0.0172, abs=1e-4) for s in sound if s.settled_at)
    assert sum(len(s.wake_ups) for s in sound) == 2
