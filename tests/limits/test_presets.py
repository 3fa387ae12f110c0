"""Every preset holds for the vehicles it is written for, is lean, says what to do, and leaves a sound vehicle alone."""

from collections import defaultdict
from itertools import pairwise, product
from pathlib import Path

import pytest

from monitor.base.vehicle import Battery, BatteryKind, Vehicle
from monitor.limits.quantities import QUANTITIES, Side
from monitor.limits.rules import Limit
from monitor.store.rules_files import load_rules, preset_folder, preset_names, read_chain, read_preset

PRESETS = preset_names()
KINDS: tuple[BatteryKind | None, ...] = (None, "flooded", "efb", "agm", "gel", "lifepo4")
ORDER = ("low", "medium", "high", "critical")


def fitting(preset: str) -> list[Battery]:
    """Batteries it is written for, with nothing but the kind known and with everything known."""
    fits = next((one.file.fits for one in reversed(read_chain(preset, Path())) if one.file.fits), None)
    found = [
        Battery(kind=kind, nominal_v=nominal, capacity_ah=capacity, reserve_s=reserve)
        for kind, nominal, (capacity, reserve) in product(KINDS, (6.0, 12.0, 24.0), ((None, None), (70.0, 6600.0)))
        if fits is None or fits.battery(kind, nominal)
    ]
    assert found
    return found


def limits(preset: str, battery: Battery) -> list[Limit]:
    return [one for one in load_rules(Vehicle(battery=battery), None, preset).limits if one.enabled]


EVERY = [pytest.param(preset, battery, id=f"{preset}-{battery.kind}-{battery.nominal_v:g}V-{battery.capacity_ah}")
         for preset in PRESETS for battery in fitting(preset)]  # fmt: skip


def test_the_presets_for_each_kind_of_vehicle_are_there() -> None:
    assert set(PRESETS) == {
        "common", "flooded", "gel", "lifepo4", "many-modules", "motorcycle", "overnight", "start-stop-agm",
        "start-stop-efb", "stored", "truck-24v",
    }  # fmt: skip


@pytest.mark.parametrize(("preset", "battery"), EVERY)
def test_it_resolves_for_every_battery_it_is_written_for(preset: str, battery: Battery) -> None:
    rules = load_rules(Vehicle(battery=battery), None, preset)
    assert rules.remarks == ()
    for limit in rules.limits:
        assert (limit.high is None) != (limit.low is None), limit.name


@pytest.mark.parametrize("preset", PRESETS)
def test_it_is_lean(preset: str) -> None:
    assert 12 <= len(limits(preset, fitting(preset)[0])) <= 22


@pytest.mark.parametrize("preset", PRESETS)
def test_each_limit_says_its_cause_what_to_do_and_its_source(preset: str) -> None:
    for limit in limits(preset, fitting(preset)[0]):
        for text in (limit.cause, limit.response):
            assert text[0].isupper(), limit.name
            assert text[-1] == ".", limit.name
        assert len(limit.source) >= len("our choice"), limit.name
        assert not limit.source.startswith("set in"), limit.name


@pytest.mark.parametrize(("preset", "battery"), EVERY)
def test_two_limits_on_one_quantity_are_ordered_by_priority_and_the_lesser_is_quiet(
    preset: str, battery: Battery
) -> None:
    groups: dict[tuple[str, Side], list[Limit]] = defaultdict(list)
    for limit in limits(preset, battery):
        groups[limit.quantity, "high" if limit.high is not None else "low"].append(limit)
    for (_, side), group in groups.items():
        group.sort(key=lambda limit: (limit.high or 0) if side == "high" else -(limit.low or 0))
        for lesser, graver in pairwise(group):
            assert ORDER.index(lesser.priority) < ORDER.index(graver.priority)
            assert graver.name in lesser.yields_to


@pytest.mark.parametrize(("preset", "battery"), EVERY)
def test_a_vehicle_that_stays_awake_is_told_once(preset: str, battery: Battery) -> None:
    by_name = {limit.name: limit for limit in limits(preset, battery)}
    awake, asleep, mean = by_name["awake"], by_name["sleep-current"], by_name["mean-drain"]
    assert (awake.high or 0) >= (asleep.high or 0)
    assert awake.after_s + awake.on_delay_s < asleep.after_s + asleep.on_delay_s < mean.after_s
    assert "awake" in asleep.yields_to
    assert {"awake", "sleep-current"} <= set(mean.yields_to)


def test_the_order_of_two_limits_is_looked_at_somewhere() -> None:
    names = [one.name for one in limits("stored", Battery()) if one.quantity == "days_to_no_start"]
    assert sorted(names) == ["days-ahead", "days-left"]


@pytest.mark.parametrize("preset", PRESETS)
def test_what_comes_back_to_its_setpoint_cannot_chatter(preset: str) -> None:
    for limit in limits(preset, fitting(preset)[0]):
        counts_up = limit.unit == "s"  # how long something has lasted falls to nothing when it is over
        event = QUANTITIES[limit.quantity].judged == "event"
        assert limit.deadband > 0 or counts_up or event, limit.name


@pytest.mark.parametrize("preset", PRESETS)
def test_where_a_person_could_be_hurt_the_caution_is_told(preset: str) -> None:
    dangers = {
        "over-voltage": ("Stop", "battery"),
        "charger-high": ("hydrogen", "no flame"),
        "days-left": ("hydrogen", "frozen"),
        "failed-starts": ("last clamp", "frozen"),
        "no-charge": ("clear of belt and fan",),
        "rest-low": ("frozen", "ventilated") if preset == "stored" else ("above 0 °C only",),
    }
    for limit in limits(preset, fitting(preset)[0]):
        for word in dangers.get(limit.name, ()):
            assert word in limit.response, limit.name


# A sound vehicle: figures of the published normal ranges at their unfavourable end; amps for a middle-sized car, the
# level as large as its preset is meant for.
SLEEPS_MA = {"flooded": 45, "gel": 45, "lifepo4": 45, "start-stop-efb": 50, "start-stop-agm": 70, "many-modules": 75,
             "motorcycle": 8, "truck-24v": 75, "common": 70, "stored": 70, "overnight": 70}  # fmt: skip
TELEMATICS_MA = 12  # 160 mA for 45 s every 10 min (service information, 2001)


@pytest.mark.parametrize("preset", PRESETS)
@pytest.mark.parametrize("celsius", [None, -20.0, 0.0, 25.0])
def test_a_sound_vehicle_passes_no_setpoint(preset: str, celsius: float | None) -> None:
    battery = fitting(preset)[0]
    scale = battery.nominal_v / 12.0
    level_a = SLEEPS_MA[preset] / 1000
    wakes_a = TELEMATICS_MA / 1000 if preset != "motorcycle" else 0.0
    sound = {
        "charging_volts": (13.2 * scale + 1e-9, 14.9 * scale),  # an alternator's upper end in the frost
        "uncharged": (
            0.0,
            60.0 * (9 if preset == "truck-24v" else 19),
        ),  # an economy mode; a truck's regulator has none
        "charging_delay": (0.0, 30.0),  # a start-up phase
        "charging_unsteady": (0.0, 0.0),
        "ripple": (0.0, 141.0),  # 50 mV by a meter
        "sleep_current": (0.0, level_a),
        "mean_night_current": (0.0, level_a + wakes_a),
        "standing_current": (0.0, level_a),
        "wake_up_length": (0.0, 44 * 60.0),  # once after a drive
        "wake_up_rate": (0.0, 6.7),
        "wake_up_charge": (0.0, 0.003),
        "time_to_sleep": (0.0, 75 * 60.0),
        "night_charge": (0.0, 24 * (level_a + wakes_a) + 0.75),  # a day, and an ampere for 45 min before it
        "days_to_no_start": (14.01, 99.0),
        "state_of_charge": (0.70, 1.0),  # held at 80 % on purpose, and no rest voltage tells it closer than 10 %
        "rest_volts": ((12.56 if battery.kind != "lifepo4" else 13.01) * scale, 13.4 * scale),
        "volts": (12.0 * scale, 14.9 * scale),
        "decay": (0.0, 5.0),
        "crank_volts_min": ((8.6 if celsius is None or celsius < 0 else 9.7) * scale, 12.0 * scale),
        "failed_starts": (0.0, 1.0),
        "net_balance": (-10.0 if preset != "motorcycle" else -1.0, 30.0),
        "resistance_rise": (0.0, 40.0),
    }
    service = {"logger_silence", "gap_share", "clock_unset", "disk_free", "notices_waiting"}
    for limit in limits(preset, battery):
        if limit.quantity in service:
            continue
        low, high = sound[limit.quantity]
        above, below = limit.setpoint("high", celsius), limit.setpoint("low", celsius)
        assert above is None or high < above, (limit.name, high, above)
        assert below is None or low > below, (limit.name, low, below)


def test_the_page_beside_the_presets_names_each_of_them_and_each_key() -> None:
    page = (preset_folder() / "README.md").read_text(encoding="utf-8")
    for name in (*PRESETS, *QUANTITIES):
        assert f"`{name}`" in page, name


@pytest.mark.parametrize("preset", PRESETS)
def test_its_line_in_the_list_is_one_line(preset: str) -> None:
    about = read_preset(preset).file.about
    assert about
    assert len(about) <= 110
