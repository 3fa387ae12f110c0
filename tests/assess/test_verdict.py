"""The verdict: each cause named where its evidence is, a healthy car called sound, and nothing made of nothing."""

from datetime import UTC

import pytest

from monitor.assess import assess
from monitor.assess.verdict import judge
from monitor.base.results import BatteryFindings, Estimate, LevelStep, Mark, Result, Verdict, WakeUp
from monitor.base.vehicle import Battery, Vehicle
from monitor.detect.ocv import state_of_charge
from tests.assess.verdict_logs import CAR, DAY_US, HOUR_US, crank, days, drive, log_of, stand, wakes


def verdict(*parts: object, vehicle: Vehicle = CAR, **more: object) -> Verdict:
    return judge(log_of(*parts, **more), vehicle)  # type: ignore[arg-type]  # stands and drives


# Healthy vehicles


def test_a_healthy_car_is_sound() -> None:
    found = verdict(*days())
    assert found.cause == "sound"
    assert found.confidence > 0.8


def test_an_alternator_that_the_engine_computer_commands_is_no_fault() -> None:
    managed = {"volts_median": 12.9, "volts_p05": 12.5, "volts_p95": 15.0, "regulation": "managed"}
    assert verdict(*days(trip=managed)).cause == "sound"


def test_a_normal_telematics_wake_up_is_no_drain() -> None:
    # service manual: 80–240 mA for 45 s every 9–10 min; with a 45 mA level the mean is over 50 mA but within 80 mA
    parts = days(1)
    parts[0] = stand(0, amps=0.045, wakes=wakes(0, 0.16, 45.0, 600.0))
    assert verdict(*parts).cause == "sound"


def test_the_same_charge_in_wake_ups_that_fit_no_normal_pattern_is_a_drain() -> None:
    parts = days(1)
    parts[0] = stand(0, amps=0.045, wakes=wakes(0, 0.16, 225.0, 3000.0 / 2))
    assert verdict(*parts).cause == "drain"


def test_a_cold_night_is_no_weak_battery() -> None:
    # −12 °C: the load-test table asks 8.7 V; resistance 1.3 times warm (×1.5–2 from +25 to −18 °C, from memory)
    cold = crank(0, volts_min=9.7, resistance_mohm=7.2, duration_s=1.4)
    assert verdict(*days(trip={"started": cold})).cause == "sound"


def test_a_charge_of_80_percent_held_on_purpose_is_no_fault() -> None:
    managed = {"volts_median": 13.0, "volts_p95": 15.0, "regulation": "managed", "into_ah": 1.0}
    assert verdict(*days(7, night={"charge": 0.8, "ocv": 12.49}, trip=managed)).cause == "sound"


def test_a_door_opened_at_night_is_no_drain() -> None:
    parts = days(2)
    parts[2] = stand(DAY_US, wakes=wakes(DAY_US, 3.0, 800.0, 20 * 3600.0))
    assert verdict(*parts).cause == "sound"
    parts[2] = stand(DAY_US, wakes=wakes(DAY_US, 3.0, 800.0, 3 * 3600.0))
    assert verdict(*parts).cause == "drain"  # but three alike in a night are


@pytest.mark.parametrize(("hours", "cause"), [(4.0, ("sound", "undetermined")), (11.0, ("drain",))])
def test_wake_ups_of_one_short_rest_of_many_may_be_somebody_at_the_car(hours: float, cause: tuple[str, ...]) -> None:
    parts = days(4)
    # 0.3 A for 10 min, every half hour: a mean of 120 mA on the sleep level, told as wake-ups that fit no pattern
    parts[2] = stand(DAY_US, hours=hours, wakes=wakes(DAY_US, 0.3, 600.0, 1800.0, hours=hours - 1))
    assert verdict(*parts).cause in cause


def test_unlocking_before_the_drive_is_no_drain() -> None:
    parts = days(1, night={})
    awake = 3 * HOUR_US - 60_000_000
    approach = WakeUp(start=awake - 100_000_000, end=awake, peak_a=0.7, excess_a=0.6, charge_ah=0.2)
    parts[0] = stand(0, hours=3.0, wakes=[approach])
    assert verdict(*parts).cause == "sound"


# Drain


def test_a_sleep_current_over_the_limit_is_a_drain() -> None:
    found = verdict(*days(night={"amps": 0.35}))
    assert found.cause == "drain"
    assert "350 mA" in found.because[0]
    assert "50 mA" in found.because[0]


def test_a_quarter_of_the_reserve_capacity_is_the_limit_when_it_is_known() -> None:
    small = Vehicle(battery=Battery(kind="flooded", capacity_ah=70.0, reserve_s=6000.0))  # RC 100: 25 mA
    night = {"amps": 0.040}
    assert verdict(*days(night=night)).cause == "sound"
    assert verdict(*days(night=night), vehicle=small).cause == "drain"


def test_a_module_that_stays_awake_in_one_night_is_a_drain() -> None:
    parts = days()
    parts[2] = stand(DAY_US, amps=0.4)
    parts[2].level_steps = [LevelStep(at=DAY_US + 2 * HOUR_US, from_a=0.02, to_a=0.4)]
    found = verdict(*parts)
    assert found.cause == "drain"
    assert any("rose from 20 mA to 400 mA" in text for text in found.because)


def test_a_car_that_never_falls_asleep_is_a_drain() -> None:
    night = stand(0, amps=0.5)
    night.settled_at = night.sleep_current_a = None
    night.plateaus = []
    assert verdict(night, *days()[1:]).cause == "drain"


# Battery


def test_12_27_volts_at_rest_is_about_half_charged() -> None:
    charge = state_of_charge("flooded", 12.27).value  # common practice
    assert charge is not None
    assert 0.45 <= charge <= 0.55


def test_a_charge_returned_that_should_have_filled_it_points_at_the_battery_not_at_charging() -> None:
    # common practice: 14.4 V while driving is normal, 12.27 V at rest half charged
    parts = [
        stand(0, ocv=12.27, charge=0.5),
        drive(11 * HOUR_US, hours=1.0, into_ah=30.0, tail_amps=0.8),
        stand(12 * HOUR_US, ocv=12.27, charge=0.5),
    ]
    found = verdict(*parts)
    assert found.cause == "battery"
    assert any("12.27 V" in text for text in found.because)
    assert all(other.cause != "charging" for other in found.also)


def test_half_charged_after_a_drive_that_did_not_fill_it_does_not_accuse_the_battery() -> None:
    parts = [stand(0, ocv=12.27, charge=0.5), drive(11 * HOUR_US, hours=1.0, into_ah=6.0, tail_amps=9.0)]
    parts.append(stand(12 * HOUR_US, ocv=12.30, charge=0.55))
    assert verdict(*parts).cause != "battery"


def test_a_long_crank_to_9_14_volts_is_a_weak_battery() -> None:
    long = crank(0, duration_s=4.0, volts_min=9.14, amps_peak=None, resistance_mohm=None)
    assert verdict(*days(trip={"started": long})).cause == "battery"


def test_9_86_volts_through_a_length_of_cable_is_not() -> None:
    short = crank(0, volts_min=9.86, amps_peak=None, resistance_mohm=None)
    found = verdict(*days(trip={"started": short}))
    assert found.cause != "battery"
    assert all(other.cause != "battery" for other in found.also)


def test_cranks_of_half_as_much_resistance_again_and_more_are_a_worn_battery() -> None:
    worn = crank(0, resistance_mohm=9.5, volts_min=9.9)
    assert verdict(*days(trip={"started": worn})).cause == "battery"


def test_555_of_800_amps_and_48_percent_health_is_a_failing_battery() -> None:
    mark = Mark(at=0, kind="bench test", text="555 A measured of 800 A rated, 48 % health")
    found = verdict(*days(), marks=[mark])
    assert found.cause == "battery"
    assert verdict(*days(), marks=[Mark(at=0, kind="bench test", text="790 A of 800 A")]).cause == "sound"


def test_a_cell_that_goes_takes_two_volts_of_the_rest() -> None:
    parts = days(2)
    parts[2] = stand(DAY_US, ocv=10.5, charge=0.0)
    assert verdict(*parts).cause == "battery"


def test_a_battery_that_does_not_hold_its_charge_is_the_cause() -> None:
    found = verdict(*days(), battery=BatteryFindings(holds_charge=False))
    assert found.cause != "sound"
    assert "battery" in (found.cause, *(other.cause for other in found.also))


def test_cranks_weigh_less_where_the_size_of_the_battery_is_assumed() -> None:
    worn = crank(0, resistance_mohm=10.5, volts_min=9.9)
    assert verdict(*days(trip={"started": worn}), vehicle=Vehicle()).cause == "undetermined"
    told = Vehicle(battery=Battery(capacity_ah=60.0))
    assert verdict(*days(trip={"started": worn}), vehicle=told).cause != "sound"


def test_a_capacity_far_below_the_rated_one_is_the_battery() -> None:
    small = Estimate(value=25.0, low=10.0, high=35.0, basis="counted between two rests")
    assert verdict(*days(), battery=BatteryFindings(capacity_ah=small)).cause == "battery"
    doubtful = Estimate(value=45.0, low=20.0, high=80.0, basis="counted between two rests")
    assert verdict(*days(), battery=BatteryFindings(capacity_ah=doubtful)).cause == "sound"


def test_a_starter_that_turns_long_lacks_current_and_that_is_no_joint_before_the_sensing_point() -> None:
    worn = crank(0, volts_min=8.9, resistance_mohm=14.0, duration_s=3.5)
    assert verdict(*days(trip={"started": worn})).cause != "connection"


def test_after_a_battery_change_the_charging_strategy_must_be_told() -> None:
    worn = crank(0, resistance_mohm=9.5, volts_min=9.9)
    assert any("charging strategy must be told" in step for step in verdict(*days(trip={"started": worn})).next)


# Charging, usage, connection


@pytest.mark.parametrize("fault", ["no_charge", "undervoltage", "overvoltage", "unstable", "ripple", "late"])
def test_a_fault_in_every_drive_is_the_charging_system(fault: str) -> None:
    assert verdict(*days(trip={"faults": [fault]})).cause == "charging"


def test_a_drive_that_nothing_charged_and_that_looks_like_a_stand_is_no_drain() -> None:
    dead = {"faults": ["no_charge"], "volts_median": 11.8, "volts_p95": 12.0, "regulation": "none", "into_ah": 0.0}
    parts = days(2, trip=dead)
    parts[2] = stand(DAY_US, wakes=wakes(DAY_US, 5.0, 1900.0, 20 * 3600.0))
    found = verdict(*parts)
    assert found.cause == "charging"
    assert not found.also
    parts[1], parts[3] = drive(11 * HOUR_US), drive(DAY_US + 11 * HOUR_US)  # but where drives are charged it is one
    assert verdict(*parts).cause == "drain"


def test_one_doubtful_drive_among_many_in_order_accuses_no_charging_system() -> None:
    parts = days(8)
    parts[1] = drive(11 * HOUR_US, faults=["unstable"])
    assert verdict(*parts).cause == "sound"


def test_short_trips_on_a_low_battery_are_usage() -> None:
    parts = []
    for day in range(8):
        at = day * DAY_US
        parts += [stand(at, charge=0.6, ocv=12.33), drive(at + 11 * HOUR_US, hours=0.08, into_ah=0.6)]
    found = verdict(*parts)
    assert found.cause == "usage"
    assert any("charge factor" in text for text in found.because)


def test_an_hour_of_driving_a_day_is_no_short_trip_use_however_it_is_cut_up() -> None:
    parts = []
    for day in range(4):
        at = day * DAY_US
        parts += [stand(at, hours=9.0, charge=0.68, ocv=12.38)]
        parts += [drive(at + (9 + n) * HOUR_US, hours=0.12) for n in range(9)]
    assert verdict(*parts).cause != "usage"
    assert verdict(*(part for n, part in enumerate(parts) if n % 10 < 3)).cause == "usage"


def test_short_trips_with_a_drain_are_a_drain() -> None:
    parts = []
    for day in range(7):
        at = day * DAY_US
        night = stand(at, amps=0.3, charge=0.6, ocv=12.33)
        parts += [night, drive(at + 11 * HOUR_US, hours=0.08, into_ah=0.6)]
    found = verdict(*parts)
    assert found.cause == "drain"
    assert not found.also  # the drain explains the low charge


def test_a_drop_that_scales_with_current_and_vanishes_without_it_is_a_connection() -> None:
    cable = crank(0, volts_min=9.2, resistance_mohm=18.0)
    found = verdict(*days(trip={"started": cable}))
    assert found.cause == "connection"
    assert any("12.55 V" in text for text in found.because)
    assert any("voltage leads" in step for step in found.next[:1])


def test_somewhat_more_than_a_cold_worn_battery_could_have_is_a_connection_too() -> None:
    joint = crank(0, volts_min=9.7, resistance_mohm=14.6)
    assert verdict(*days(trip={"started": joint})).cause == "connection"


def test_two_causes_at_once_are_both_told() -> None:
    found = verdict(*days(night={"amps": 0.4}, trip={"faults": ["overvoltage"]}))
    assert {found.cause, *(other.cause for other in found.also)} >= {"drain", "charging"}
    assert any("overvoltage" in text for text in found.because)
    assert any("400 mA" in text for text in found.because)


def test_a_verdict_tells_what_rules_out_the_other_causes() -> None:
    assert any(text.startswith("Charging is ruled out: ") for text in verdict(*days(night={"amps": 0.4})).because)


# What a log cannot carry


def test_volts_alone_make_no_drain_and_no_sound_car() -> None:
    found = verdict(*days(night={"amps": None}), has_amps=False)
    assert found.cause == "undetermined"
    assert any("no current" in text for text in found.missing)


def test_volts_alone_that_fall_name_the_drain_but_do_not_decide() -> None:
    found = verdict(*days(night={"amps": None, "decay_mv_per_h": 8.0}), has_amps=False)
    assert found.cause == "undetermined"
    assert "drain" in [other.cause for other in found.also]
    assert any("falls by 8.0 mV/h" in text for text in found.because)
    assert not any("falls by 8.0 mV/h" in text for text in found.against)


def test_volts_alone_of_a_flat_battery_that_keeps_falling_do_not_say_what_emptied_it() -> None:
    """A drain does, or the battery itself: both are named, neither is found."""
    fallen = {"amps": None, "ocv": 11.95, "charge": 0.05, "decay_mv_per_h": 20.0}
    unseen = crank(0, resistance_mohm=None, amps_peak=None, amps_plateau=None, volts_min=None, volts_before=None)
    parts = days(night=fallen, trip={"started": unseen})
    parts[-2] = stand(2 * DAY_US, **{**fallen, "ocv": 11.3})
    found = verdict(*parts, has_amps=False)
    assert found.cause == "undetermined"
    assert {"drain", "battery"} <= {other.cause for other in found.also}
    parts[0::2] = [stand(k * DAY_US, amps=None, ocv=11.5 - 0.1 * k, charge=0.0) for k in range(3)]
    assert [o.cause for o in verdict(*parts, has_amps=False).also] == ["battery"]  # nothing falls: no drain is seen


def test_volts_alone_that_hunt_may_be_a_joint_as_well_as_a_regulator() -> None:
    hunting = {"faults": ["unstable"]}
    found = verdict(*days(night={"amps": None}, trip=hunting), has_amps=False)
    assert found.cause == "undetermined"
    assert verdict(*days(trip=hunting)).cause == "charging"


def test_one_night_without_a_drive_is_undetermined() -> None:
    found = verdict(stand(0))
    assert found.cause == "undetermined"
    assert any("No drive" in text for text in found.missing)


def test_nothing_seen_is_undetermined() -> None:
    assert judge(Result(), Vehicle()).cause == "undetermined"


def test_an_assumed_capacity_is_said() -> None:
    assert any("60 Ah assumed" in text for text in verdict(*days(), vehicle=Vehicle()).missing)


def test_cranks_from_volts_far_apart_are_assessed_all_the_same() -> None:
    parts = [stand(0), drive(11 * HOUR_US, started=crank(0, volts_before=12.9))]
    parts += [stand(DAY_US), drive(DAY_US + 11 * HOUR_US, started=crank(0, volts_before=12.0))]
    assert assess(log_of(*parts), CAR, UTC).verdict is not None


def test_what_was_before_a_repair_is_left_out_and_that_is_said() -> None:
    parts = days(4)
    parts[0], parts[2] = stand(0, amps=0.5), stand(DAY_US, amps=0.5)
    assert verdict(*parts).cause == "drain"
    found = verdict(*parts, marks=[Mark(at=DAY_US + 12 * HOUR_US, kind="repair", text="glove-box lamp")])
    assert found.cause == "sound"
    assert any("glove-box lamp" in text for text in found.missing)


def test_a_new_battery_is_told_to_the_charging_strategy_whatever_the_verdict() -> None:
    found = verdict(*days(), marks=[Mark(at=0, kind="battery replaced", text="new battery")])
    assert "charging strategy" in found.next[0]


def test_judging_changes_nothing_and_repeats() -> None:
    result = log_of(*days(night={"amps": 0.3}))
    before = result.model_dump_json()
    first = judge(result, CAR)
    assert judge(result, CAR) == first
    assert result.model_dump_json() == before


@pytest.mark.parametrize("amps", [0.03, 0.06, 0.1, 0.3])
def test_every_verdict_ends_with_the_service_manual(amps: float) -> None:
    assert "service manual" in verdict(*days(night={"amps": amps})).next[-1]
