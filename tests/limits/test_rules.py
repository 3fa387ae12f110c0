"""A rules file and a vehicle give limits in base units: what is picked, what is scaled, what overrides what."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.vehicle import Battery, Vehicle, VehicleTable
from monitor.limits.quantities import QUANTITIES, Quantity
from monitor.limits.rules import Limit, Rules, rules_from, rules_text
from monitor.store.rules_files import fitting_preset, load_rules
from tests.limits.rules_written import MINE, limit, load

RESERVE = MINE.replace(
    '"50 mA"', '{ value = "50 mA", per_reserve = "0.25 mA per min", least = "20 mA", most = "50 mA" }'
)
VOLTS = MINE.replace("sleep_current", "rest_volts").replace('high = "50 mA"', "SETPOINT")


def test_a_limit_is_in_base_units(tmp_path: Path) -> None:
    text = MINE + 'deadband = "20 %"\non_delay = "15 min"\noff_delay = "5 min"\nafter = "1 h"\nlatched = true\n'
    assert limit(tmp_path, text) == Limit(
        name="mine",
        quantity="sleep_current",
        unit="A",
        high=0.05,
        low=None,
        priority="medium",
        cause="It draws.",
        response="Look.",
        source=f"set in {tmp_path / 'mine.toml'}",
        deadband=0.01,
        on_delay_s=900.0,
        off_delay_s=300.0,
        after_s=3600.0,
        latched=True,
    )


@pytest.mark.parametrize(
    ("reserve_min", "amps", "basis"),
    [
        (None, 0.05, ""),
        (100, 0.025, "reserve capacity of 100 min: 0.25 mA per min"),
        (160, 0.04, "reserve capacity of 160 min: 0.25 mA per min"),
        (40, 0.02, "reserve capacity of 40 min: 0.25 mA per min, not below 20 mA"),
        (300, 0.05, "reserve capacity of 300 min: 0.25 mA per min, not above 50 mA"),
    ],
)
def test_a_setpoint_follows_the_reserve_capacity_within_its_bounds(
    reserve_min: int | None, amps: float, basis: str, tmp_path: Path
) -> None:
    battery = Battery(reserve_s=None if reserve_min is None else reserve_min * 60.0)
    found = limit(tmp_path, RESERVE, battery)
    assert (found.high, found.basis) == (amps, basis)


def test_the_reserve_goes_before_the_capacity_and_that_before_the_kind(tmp_path: Path) -> None:
    text = MINE.replace(
        '"50 mA"',
        '{ value = "50 mA", by_kind = { agm = "80 mA" }, per_capacity = "1 mA per Ah",'
        ' per_reserve = "0.25 mA per min" }',
    )
    assert limit(tmp_path, text, Battery()).high == 0.05
    assert limit(tmp_path, text, Battery(kind="agm")).high == 0.08
    assert limit(tmp_path, text, Battery(kind="agm", capacity_ah=70)).high == 0.07
    assert limit(tmp_path, text, Battery(kind="agm", capacity_ah=70, reserve_s=6000)).high == 0.025


def test_a_kind_that_is_not_said_can_have_its_own_value(tmp_path: Path) -> None:
    text = MINE.replace('"50 mA"', '{ by_kind = { unknown = "90 mA", agm = "80 mA" } }')
    assert [limit(tmp_path, text, Battery(kind=kind)).high for kind in (None, "agm", "gel")] == [0.09, 0.08, None]


def test_a_setpoint_that_the_vehicle_does_not_allow_is_not_judged_and_says_what_it_lacks(tmp_path: Path) -> None:
    found = limit(tmp_path, MINE.replace('"50 mA"', '{ per_capacity = "1 mA per Ah" }'))
    assert (found.high, found.low) == (None, None)
    assert found.basis == "not judged: the vehicle file does not say [battery] capacity"


@pytest.mark.parametrize(
    ("setpoint", "nominal_v", "kind", "volts"),
    [
        ('"12.4 V"', 12.0, None, 12.4),
        ('{ value = "12.4 V", per = "12 V" }', 6.0, None, 6.2),
        ('{ value = "12.4 V", per = "12 V" }', 24.0, None, 24.8),
        ('{ value = "24.8 V", per = "24 V" }', 12.0, None, 12.4),
        ('{ value = "2.1 V", per = "cell" }', 6.0, "flooded", 6.3),
        ('{ value = "2.1 V", per = "cell" }', 24.0, "agm", 25.2),
        ('{ value = "3.2 V", per = "cell" }', 12.0, "lifepo4", 12.8),
    ],
)
def test_volts_follow_the_nominal_voltage_or_the_cells(
    setpoint: str, nominal_v: float, kind: str | None, volts: float, tmp_path: Path
) -> None:
    battery = Battery.model_validate({"nominal": nominal_v, "kind": kind})
    assert limit(tmp_path, VOLTS.replace("SETPOINT", f"low = {setpoint}"), battery).low == volts


def test_the_deadband_and_the_rows_of_a_table_follow_the_nominal_voltage_too(tmp_path: Path) -> None:
    setpoint = 'low = { value = "12.4 V", by_celsius = { "0 °C" = "12.2 V", "-20 °C" = "12 V" }, per = "12 V" }'
    found = limit(tmp_path, VOLTS.replace("SETPOINT", setpoint + '\ndeadband = "0.05 V"'), Battery(nominal_v=24.0))
    assert (found.by_celsius, found.low, found.deadband) == (((-20.0, 24.0), (0.0, 24.4)), 24.8, 0.1)


def test_rows_by_temperature_are_joined_straight_and_held_at_their_ends(tmp_path: Path) -> None:
    setpoint = 'low = { value = "12.4 V", by_celsius = { "-20 °C" = "12 V", "0 °C" = "12.2 V", "20 °C" = "12.3 V" } }'
    found = limit(tmp_path, VOLTS.replace("SETPOINT", setpoint))
    at = [found.setpoint("low", celsius) for celsius in (-40.0, -20.0, -10.0, 0.0, 5.0, 20.0, 60.0)]
    assert at == [12.0, 12.0, 12.1, 12.2, 12.225, 12.3, 12.3]
    assert found.setpoint("low", None) == found.setpoint("low", float("nan")) == 12.4
    assert found.setpoint("high", 0.0) is None


def test_a_share_of_a_quantity_that_is_a_share_is_meant_as_it_stands(tmp_path: Path) -> None:
    text = MINE.replace("sleep_current", "state_of_charge").replace('high = "50 mA"', 'low = "60 %"\ndeadband = "5 %"')
    found = limit(tmp_path, text)
    assert (found.low, found.deadband) == (0.6, 0.05)


def test_a_file_changes_single_values_of_the_one_it_extends(tmp_path: Path) -> None:
    before = {one.name: one for one in load_rules(Vehicle(), None, "flooded").limits}
    after = {one.name: one for one in load(tmp_path, 'extends = "flooded"\n[limits.awake]\non_delay = "1 h"\n').limits}
    assert (before["awake"].on_delay_s, after["awake"].on_delay_s) == (600.0, 3600.0)
    assert {name for name in after if after[name] != before[name]} == {"awake"}


def test_a_setpoint_set_anew_replaces_its_whole_table_and_names_who_set_it(tmp_path: Path) -> None:
    text = 'extends = "flooded"\n[limits.sleep-current]\nhigh = "35 mA"\n'
    found = limit(tmp_path, text, Battery(reserve_s=18000.0), "sleep-current")
    assert (found.high, found.basis) == (0.035, "")
    assert found.source.startswith(f"set in {tmp_path / 'mine.toml'}; before that: 50 mA")


def test_a_change_of_anything_else_keeps_the_setpoint_s_source(tmp_path: Path) -> None:
    text = 'extends = "flooded"\n[limits.sleep-current]\npriority = "low"\n'
    assert limit(tmp_path, text, name="sleep-current").source.startswith("50 mA")


def test_a_chain_of_own_files_is_read_from_where_each_stands(tmp_path: Path) -> None:
    (tmp_path / "fleet").mkdir()
    (tmp_path / "fleet" / "base.toml").write_text('extends = "gel"\n[limits.awake]\nhigh = "150 mA"\n')
    text = 'extends = "fleet/base.toml"\n[limits.awake]\non_delay = "20 min"\n'
    found = limit(tmp_path, text, name="awake")
    assert (found.high, found.on_delay_s, found.after_s) == (0.15, 1200.0, 4500.0)


def test_a_limit_can_be_switched_off(tmp_path: Path) -> None:
    found = limit(tmp_path, 'extends = "gel"\n[limits.decay]\nenabled = false\n', name="decay")
    assert not found.enabled


@pytest.mark.parametrize(
    ("kind", "nominal_v", "preset"),
    [
        (None, 12.0, "common"),
        ("flooded", 12.0, "flooded"),
        ("efb", 12.0, "start-stop-efb"),
        ("agm", 12.0, "start-stop-agm"),
        ("gel", 12.0, "gel"),
        ("lifepo4", 12.0, "lifepo4"),
        (None, 24.0, "truck-24v"),
        ("agm", 24.0, "truck-24v"),
        (None, 6.0, "motorcycle"),
        ("flooded", 6.0, "motorcycle"),
    ],
)
def test_without_a_name_the_preset_that_fits_the_battery_is_taken(
    kind: str | None, nominal_v: float, preset: str
) -> None:
    battery = Battery.model_validate({"kind": kind, "nominal": nominal_v})
    assert fitting_preset(battery) == load_rules(Vehicle(battery=battery)).name == preset


def test_a_vehicle_file_names_a_preset_or_a_path_beside_it(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text('extends = "gel"\n')
    beside = tmp_path / "car.toml"

    def named(rules: str) -> Rules:
        return load_rules(Vehicle(vehicle=VehicleTable(rules=rules)), beside)

    assert (named("stored").name, named("own.toml").name) == ("stored", "own.toml")
    assert load_rules(Vehicle(vehicle=VehicleTable(rules="stored")), beside, "gel").name == "gel"


def test_rules_for_another_battery_are_used_and_it_is_said(tmp_path: Path) -> None:
    assert load_rules(Vehicle(battery=Battery(kind="lifepo4", nominal_v=24.0)), None, "gel").remarks == (
        "written for gel batteries; this one is lifepo4",
        "written for batteries of 12 V; this one is of 24 V",
    )
    assert load_rules(Vehicle(battery=Battery(kind="gel")), None, "gel").remarks == ()
    assert load_rules(Vehicle(battery=Battery(kind="gel")), None, "common").remarks == ()


def test_rules_travel_as_text_and_come_back_the_same() -> None:
    rules = load_rules(Vehicle(), None, "truck-24v")
    assert rules_from(rules_text(rules)) == rules
    for text in ("", "[]", "{}", '{"name": 1}'):
        with pytest.raises(ValueError, match="not rules"):
            rules_from(text)


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=lambda quantity: quantity.name)
@given(share=st.floats(0.001, 1.0))
def test_what_is_written_of_a_setpoint_reads_back_as_the_same(share: float, quantity: Quantity) -> None:
    value = quantity.low + share * (quantity.high - quantity.low)
    if quantity.dimension.unit == "1":
        value = float(round(value))
    text = quantity.write(value)
    again = quantity.read(int(text)) if quantity.dimension.unit == "1" else quantity.read(text)
    assert again == pytest.approx(value, rel=1e-5, abs=1e-9)  # six digits are written


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=lambda quantity: quantity.name)
def test_the_example_of_each_quantity_is_believable(quantity: Quantity) -> None:
    written = int(quantity.example) if quantity.example.isdigit() else quantity.example
    assert quantity.low <= quantity.read(written) <= quantity.high
