"""Scenario files: quantities with units, and mistakes told with file, line and nearest name."""

from pathlib import Path

import pytest

from monitor.base.documents import load_document
from monitor.base.errors import SettingError
from monitor.simulate import Scenario

ROOT = Path(__file__).parents[2]
GOOD = """name = "van"
start = 2025-03-03T18:00:00+01:00
days = 2.0

[ambient]
mean = "-4 degC"

[battery]
capacity = "80 Ah"
state_of_charge = "85 %"

[vehicle]
sleep = "18 mA"
connection = "12 mohm"

[[trips]]
at = 07:30:00
duration = "25 min"

[[wake_ups]]
amps = "160 mA"
duration = "45 s"
every = "10 min"

[logger]
rate = "5 Hz"
"""


def load(tmp_path: Path, text: str) -> Scenario:
    path = tmp_path / "van.toml"
    path.write_text(text, encoding="utf-8")
    return load_document(path, Scenario)


def test_quantities_are_read_with_their_units(tmp_path: Path) -> None:
    read = load(tmp_path, GOOD)
    assert read.ambient.mean == -4.0
    assert read.battery.capacity == 80.0
    assert read.battery.state_of_charge == 0.85
    assert read.vehicle.sleep == 0.018
    assert read.vehicle.connection == 0.012
    assert read.trips[0].duration == 1500.0
    assert read.wake_ups[0].every == 600.0
    assert read.logger.rate == 5.0


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ('sleep = "18 mA"', 'sleeep = "18 mA"', 13, 'did you mean "sleep"'),
        ('sleep = "18 mA"', "sleep = 0.018", 13, "35 mA"),
        ('sleep = "18 mA"', 'sleep = "18 mV"', 13, "current"),
        ('mean = "-4 degC"', 'mean = "-4 degF"', 6, "degC"),
        ('mean = "-4 degC"', 'mean = "-4"', 6, "degC"),
        ('rate = "5 Hz"', 'rate = "5 s"', 26, "10 Hz"),
        ('state_of_charge = "85 %"', 'state_of_charge = "185 %"', 10, "less than or equal to 1"),
        ('every = "10 min"', 'shape = "round"', 23, "rectangular"),
        ("days = 2.0", "days = -1", 3, "greater than 0"),
        ("start = 2025-03-03T18:00:00+01:00", "start = 2025-03-03T18:00:00", 2, "timezone"),
    ],
)
def test_a_mistake_is_told_with_its_line_and_what_was_expected(
    tmp_path: Path, old: str, new: str, line: int, says: str
) -> None:
    with pytest.raises(SettingError) as told:
        load(tmp_path, GOOD.replace(old, new))
    text = f"{told.value.what} {told.value.remedy}"
    assert f"van.toml, line {line}" in text
    assert says in text


def test_a_wake_up_without_a_time_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="either every or at"):
        load(tmp_path, GOOD.replace('every = "10 min"', 'name = "module"'))


@pytest.mark.parametrize("path", sorted((ROOT / "replay_logs").glob("*.toml")), ids=lambda path: path.stem)
def test_each_demo_scenario_is_valid(path: Path) -> None:
    assert load_document(path, Scenario).name.startswith("Harbour Lane workshop: ")
