"""What cannot be used in a rules file is refused with file, line, key, what was expected and the nearest name."""

from pathlib import Path

import pytest

from monitor.base.errors import SettingError
from monitor.base.vehicle import Battery, Vehicle, VehicleTable
from monitor.store.rules_files import load_rules
from tests.limits.rules_written import MINE, load

# a file to break: line 1 about, 3 a changed limit, 7 a limit of its own
WHOLE = """\
extends = "flooded"

[limits.awake]
high = "150 mA"
on_delay = "20 min"

[limits.cold-rest]
quantity = "rest_volts"
low = "12.1 V"
high = "13.2 V"
deadband = "0.05 V"
on_delay = "30 min"
priority = "low"
cause = "It rests low."
response = "Charge it."
yields_to = ["awake"]
"""


def refused(folder: Path, text: str, battery: Battery | None = None) -> SettingError:
    with pytest.raises(SettingError) as caught:
        load(folder, text, battery)
    return caught.value


def test_the_file_itself_is_in_order(tmp_path: Path) -> None:
    assert load(tmp_path, WHOLE).limits[-1].low == 12.1


# what is changed, into what, the line told, words of the error, words of the remedy
MISTAKES = {
    "an unknown quantity": ('"rest_volts"', '"rest_volt"', 8, "cold-rest.quantity", 'did you mean "rest_volts"?'),
    "an unknown key": ("deadband", "dead_band", 11, 'unknown key "limits.cold-rest.dead_band"', '"deadband"'),
    "an unknown table": ("[limits.cold-rest]", "[limit.cold-rest]", 7, 'unknown key "limit"', '"limits"'),
    "a misspelt limit": ("[limits.awake]", "[limits.awaek]", 3, "limits.awaek: expected its", "[limits.awake]?"),
    "a limit's name in capitals": ("cold-rest", "Cold-Rest", 7, "expected small letters", ""),
    "a bare number": ('"12.1 V"', "12.1", 9, "limits.cold-rest.low: expected a value with its unit", ""),
    "a count for volts": ('"12.1 V"', "12", 9, "limits.cold-rest.low: expected a value", ""),
    "no unit": ('"12.1 V"', '"12.1"', 9, "limits.cold-rest.low: expected a value as", ""),
    "another unit": ('"12.1 V"', '"12.1 A"', 9, '"A" is not a unit of voltage (rest_volts); found "12.1 A"', ""),
    "a decimal comma": ('"12.1 V"', '"12,1 V"', 9, "write a decimal point", ""),
    "a wrong sign": ('"12.1 V"', '"-12.1 V"', 9, "expected 8 V to 15 V for a battery of 12 V", ""),
    "millivolts meant as volts": ('"12.1 V"', '"12.1 mV"', 9, "expected 8 V to 15 V", ""),
    "volts of another battery": ('"12.1 V"', '"24.2 V"', 9, "for a battery of 12 V", ""),
    "amps meant as milliamps": ('"150 mA"', '"150 A"', 4, "limits.awake.high: expected 0.1 mA to 50 A", ""),
    "low above high": ('"12.1 V"', '"13.4 V"', 10, "expected low below high", ""),
    "low at high": ('"12.1 V"', '"13.2 V"', 10, "expected low below high", ""),
    "a deadband wider than the pair": ('"0.05 V"', '"1.2 V"', 11, "less than what lies between", ""),
    "a negative deadband": ('"0.05 V"', '"-0.05 V"', 11, "expected zero or more", ""),
    "a deadband of all": ('"0.05 V"', '"100 %"', 11, "expected a share from 0 to 99 %", ""),
    "a deadband in another unit": ('"0.05 V"', '"5 mA"', 11, "limits.cold-rest.deadband", ""),
    "a negative delay": ('"30 min"', '"-30 min"', 12, "expected zero or more", ""),
    "a delay of years": ('"30 min"', '"30 years"', 12, "expected at most 400 d", ""),
    "a delay in volts": ('"30 min"', '"30 V"', 12, "expected a duration", ""),
    "an unknown priority": ('"low"', '"lov"', 13, "limits.cold-rest.priority", 'did you mean "low"?'),
    "no priority": ('priority = "low"\n', "", 7, "limits.cold-rest: expected its priority", ""),
    "no response": ('response = "Charge it."\n', "", 7, "expected its response", ""),
    "no setpoint": ('low = "12.1 V"\nhigh = "13.2 V"\n', "", 7, "expected high or low", ""),
    "a side that is none": ('"150 mA"', '"150 mA"\nlow = "1 mA"', 5, "standing_current has no low limit", ""),
    "a window where none is": ('"150 mA"', '"150 mA"\nwindow = "1 d"', 5, "standing_current has none", ""),
    "a window of nothing": ('"150 mA"', '"150 mA"\nwindow = "0 d"', 5, "expected more than zero", ""),
    "yielding to nobody": ('["awake"]', '["awak"]', 16, "expected the name of a limit", 'did you mean "awake"?'),
    "yielding to itself": ('["awake"]', '["cold-rest"]', 16, "another limit than itself", ""),
    "a circle": ('"150 mA"', '"150 mA"\nyields_to = ["cold-rest"]', 5, "no circle of limits", ""),
    "an unknown preset": ('"flooded"', '"floded"', 1, 'no preset "floded"', 'did you mean "flooded"?'),
    "a file that is not there": ('"flooded"', '"flooded.toml"', None, "flooded.toml: no such file", ""),
    "itself": ('"flooded"', '"mine.toml"', None, "extends more than 7 files, or itself", ""),
    "a kind that is none": ('"12.1 V"', '{ by_kind = { amg = "12.1 V" } }', 9, "by_kind.amg", 'did you mean "agm"?'),
    "an empty table": ('"12.1 V"', "{}", 9, "expected a value, by_kind", ""),
    "a list": ('"12.1 V"', "[12]", 9, "found a list", ""),
    "a share per nothing": ('"150 mA"', '{ per_reserve = "0.25 mA" }', 4, 'expected a value as "200 mA per min"', ""),
    "a share per volts": ('"150 mA"', '{ per_reserve = "1 mA per V" }', 4, "limits.awake.high.per_reserve", ""),
    "a share of mixed units": ('"150 mA"', '{ per_capacity = "1 V per Ah" }', 4, "not a unit of current", ""),
    "per of amps": ('"150 mA"', '{ value = "150 mA", per = "12 V" }', 4, "it belongs to volts", ""),
    "per of 36 V": ('"12.1 V"', '{ value = "12.1 V", per = "36 V" }', 9, "limits.cold-rest.low.per", "did you mean"),
    "least above most": ('"150 mA"', '{ value = "1 A", least = "2 A", most = "1 A" }', 4, "less than most", ""),
    "a row of no temperature": ('"150 mA"', '{ value = "1 A", by_celsius = { "0 F" = "2 A" } }', 4, '"-18 °C"', ""),
    "a row twice": ('"150 mA"', '{ value = "1 A", by_celsius = { "0 °C" = "2 A", "0.0 °C" = "1 A" } }', 4, "once", ""),
    "rows without a value": ('"150 mA"', '{ by_celsius = { "0 °C" = "2 A" } }', 4, "expected a value, by_kind", ""),
    "no rows": ('"150 mA"', '{ value = "1 A", by_celsius = {} }', 4, "expected 1 to 40 rows", ""),
    "rows beside a kind": (
        '"150 mA"',
        '{ value = "1 A", by_kind = { agm = "1 A" }, by_celsius = { "0 °C" = "2 A" } }',
        4,
        "by_celsius beside a value only",
        "",
    ),
    "rows with two sides": (
        '"12.1 V"',
        '{ value = "12.1 V", by_celsius = { "0 °C" = "12 V" } }',
        10,
        "expected one side only beside by_celsius",
        "",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "expected", "remedy"), MISTAKES.values(), ids=MISTAKES.keys())
def test_a_mistake_is_refused_with_file_line_key_and_expectation(
    old: str, new: str, line: int | None, expected: str, remedy: str, tmp_path: Path
) -> None:
    assert old in WHOLE
    error = refused(tmp_path, WHOLE.replace(old, new, 1))
    place = str(tmp_path) if line is None else f"{tmp_path / 'mine.toml'}, line {line}"
    assert error.what.startswith(place), error.what
    assert expected in error.what
    assert remedy in error.remedy


def mine(quantity: str, rest: str) -> str:
    return MINE.replace("sleep_current", quantity).replace('high = "50 mA"', rest)


@pytest.mark.parametrize(
    ("quantity", "rest", "expected"),
    [
        ("net_balance", 'low = "-5 Ah"', "expected window beside it"),
        ("failed_starts", 'high = "2"', "a count is a whole number without quotes"),
        ("failed_starts", "high = true", "expected a value with its unit"),
        ("failed_starts", "high = 0", "expected 1"),
        ("failed_starts", 'high = 2\non_delay = "1 min"', "failed_starts is an event"),
        ("crank_volts_min", 'low = "9 V"\noff_delay = "1 min"', "crank_volts_min is an event"),
        ("disk_free", 'low = "1 GB"\nafter = "1 h"', "disk_free has no stand or drive"),
        ("volts", 'high = "16 V"\nafter = "1 h"', "volts has no stand or drive"),
        ("disk_free", 'low = "1 GB"\ndeadband = "1 h"', "limits.mine.deadband"),
        ("wake_up_rate", 'high = "12"\nwindow = "1 h"', '"per" is missing'),
        ("wake_up_rate", 'high = "12 per V"\nwindow = "1 h"', "not a unit of duration"),
        ("wake_up_rate", 'high = "x per h"\nwindow = "1 h"', "does not begin with a number"),
        ("state_of_charge", 'low = "60"', "its unit is missing"),
        ("state_of_charge", 'low = "101 %"', "expected 5 % to 99 %"),
        ("days_to_no_start", 'high = "2 d"', "days_to_no_start has no high limit"),
        ("sleep_current", 'high = "50 mA"\ndeadband = "60 mA"', "or it never returns"),
        ("state_of_charge", 'low = "97 %"\ndeadband = "4 %"', "no more than 100 % together with low"),
        ("decay", 'high = "10 V"', "is not a unit of slope"),
    ],
)
def test_what_a_quantity_cannot_have_is_refused(quantity: str, rest: str, expected: str, tmp_path: Path) -> None:
    assert expected in refused(tmp_path, mine(quantity, rest)).what


def test_a_table_of_which_one_row_is_lower_than_the_deadband_is_refused(tmp_path: Path) -> None:
    rest = 'high = { value = "50 mA", by_celsius = { "0 °C" = "10 mA" } }\ndeadband = "20 mA"'
    assert "or it never returns" in refused(tmp_path, mine("sleep_current", rest)).what


def test_a_capacity_that_makes_a_setpoint_unbelievable_is_told(tmp_path: Path) -> None:
    text = mine("sleep_current", 'high = { per_capacity = "1 A per Ah" }')
    error = refused(tmp_path, text, Battery(capacity_ah=70))
    assert "limits.mine.high: expected 0.1 mA to 20 A" in error.what
    assert '"capacity of 70 Ah: 1 A per Ah"' in error.what


def test_the_last_file_to_speak_made_the_fault(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(WHOLE)
    error = refused(tmp_path, 'extends = "base.toml"\n\n[limits.cold-rest]\nlow = "13.5 V"\n')
    assert error.what.startswith(f"{tmp_path / 'mine.toml'}, line 4, limits.cold-rest.low: expected low below high")


def test_a_fault_of_a_file_that_is_extended_is_told_of_that_file(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(WHOLE.replace('"12.1 V"', '"1.1 V"'))
    error = refused(tmp_path, 'extends = "base.toml"\n\n[limits.cold-rest]\npriority = "high"\n')
    assert error.what.startswith(f"{tmp_path / 'base.toml'}, line 9, limits.cold-rest.low")


def test_a_vehicle_file_that_names_no_preset_is_told(tmp_path: Path) -> None:
    car = tmp_path / "car.toml"
    with pytest.raises(SettingError) as caught:
        load_rules(Vehicle(vehicle=VehicleTable(rules="start-stop-agn")), car)
    assert caught.value.what == f'{car}, vehicle.rules: no preset "start-stop-agn"'
    assert 'did you mean "start-stop-agm"?' in caught.value.remedy


def test_too_many_limits_are_refused(tmp_path: Path) -> None:
    assert "expected at most 100 limits" in refused(tmp_path, "".join(f"[limits.a{i}]\n" for i in range(101))).what
