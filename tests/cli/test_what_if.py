"""`keyoff replay --rules`: the alarms a set of limits raises on a log, and two sets side by side."""

import json
from pathlib import Path

import numpy as np
import pytest

from tests.cli.inside import Run, inside
from tests.laws.logs import Life

__all__ = ["inside"]

LENIENT = """
about = "Hardly any limit"
[limits.sleep-current]
quantity = "sleep_current"
high = "2 A"
after = "30 min"
priority = "low"
cause = "A drain."
response = "Find it."
source = "a test"
"""


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A start, a drive, and a night with 0.3 A."""
    life = Life(0.2).spend(60, 12.6, -0.02).crank().spend(900, 14.2, 5.0).shutdown(0.3).spend(3 * 3600, 12.5, -0.3)
    block = life.done("night").block
    rows = np.column_stack((block.t_us / 1e6, block.volts, block.amps))
    path = tmp_path / "night.csv"
    np.savetxt(path, rows, delimiter=",", fmt="%.3f", header="time,volts,amps", comments="")
    (tmp_path / "lenient.toml").write_text(LENIENT)
    return path


def test_without_rules_no_limits_are_judged(inside: Run, log: Path) -> None:
    done = inside("replay", log)
    assert done.returncode == 0
    assert "Alarms" not in done.stdout
    assert json.loads(inside("replay", log, "--json").stdout)["alarms"] == []


def test_the_alarms_follow_the_verdict_each_with_its_figures_and_once_what_to_do(
    inside: Run,
    log: Path,
) -> None:
    done = inside("replay", log, "--rules", "flooded")
    text = " ".join(done.stdout.split())
    assert "1 alarm under the rules flooded:" in text
    assert "limit 200 mA" in text
    assert "still so after" in text
    assert text.count("To do") == 1
    assert text.index("Because") < text.index("Alarms") < text.index("Log ")


def test_in_json_they_stand_in_the_document(inside: Run, log: Path) -> None:
    (alarm,) = json.loads(inside("replay", log, "--rules", "flooded", "--json").stdout)["alarms"]
    assert alarm["state"] == "unacknowledged"
    assert alarm["value"] == pytest.approx(0.3, rel=0.05)
    assert alarm["response"]


def test_no_alarm_is_said(inside: Run, log: Path) -> None:
    done = inside("replay", log, "--rules", log.parent / "lenient.toml")
    assert "None under the rules" in done.stdout


def test_rules_that_the_vehicle_file_names_are_judged(inside: Run, log: Path) -> None:
    car = log.parent / "car.toml"
    car.write_text('[vehicle]\nrules = "flooded"\n')
    assert "1 alarm under the rules flooded" in inside("replay", log, "--vehicle", car).stdout


def test_two_sets_are_shown_side_by_side(inside: Run, log: Path) -> None:
    lenient = log.parent / "lenient.toml"
    text = inside("replay", log, "--rules", "flooded", "--rules", lenient).stdout
    assert "flooded: 1 alarm" in text
    assert "no alarm" in text
    found = json.loads(inside("replay", log, "--rules", "flooded", "--rules", lenient, "--json").stdout)
    assert len(found["rules"]) == 2
    assert [(line["first"] is None, line["second"] is None) for line in found["alarms"]] == [(False, True)]


def test_more_than_two_sets_are_refused(inside: Run, log: Path) -> None:
    done = inside("replay", log, *["--rules", "flooded"] * 3)
    assert done.returncode != 0
    assert "give one set of rules, or two to compare them" in done.stderr


def test_an_unknown_preset_is_refused_before_the_log_is_read(inside: Run, tmp_path: Path) -> None:
    done = inside("replay", tmp_path / "none.csv", "--rules", "floded")
    assert done.returncode != 0
    assert "flooded" in done.stderr
