"""Alarms against published courses and examples: trade patterns that must alarm or must not, and deadbands as printed.

Sources are vehicle makers' service documents and instrument manuals (names left out), given beside each check. Limits
are those of the source; noise and seeds as in traces.py.
"""

import pytest

from monitor.base.alarms import Transition
from monitor.base.samples import SECOND_US
from monitor.base.vehicle import Vehicle
from monitor.limits.alarm import LimitAlarm
from monitor.limits.watch import Watch
from monitor.store.rules_files import load_rules
from tests.limits.limits import limit, rules
from tests.published.traces import ARRIVAL, ARRIVAL_S, SEEDS, Piece, after_s, drain, sampled

each_seed = pytest.mark.parametrize("seed", SEEDS)
MINUTE = 60.0
CRANK, KEY_ON = Piece(1, -150, 10.2), drain(8, 5.0)


def raised(pieces, the_rules, seed, hz=1.0):
    """(limit, seconds after ARRIVAL) of each alarm raised in the pieces that follow it."""
    watch, block, events = Watch(Vehicle(), the_rules, None), sampled([*ARRIVAL, *pieces], hz, seed), []
    for start in range(0, len(block), 10_000):
        events += watch.update(block[start : start + 10_000])
    steps = [event for event in events if isinstance(event, Transition) and event.what == "raised"]
    return [(step.alarm.limit, after_s(step.at, ARRIVAL_S)) for step in steps]


# Closed-circuit current monitoring of a European flagship, 2004-06: asleep after 2-3 min, wakes at 16, 30 and 70 min,
# cut-off at 60 min, below 80 mA; its own monitor warns above 80 mA for 5 min. Size and length of the wakes are ours.
FLAGSHIP = rules(
    limit("standing_current", high=0.08, after_s=60 * MINUTE, on_delay_s=5 * MINUTE),
    limit("sleep_current", high=0.08, after_s=60 * MINUTE, on_delay_s=5 * MINUTE),
)


def flagship(base_a):
    course = [drain(150, 4.0)]
    for until_min, amps in ((16, 0.075), (30, 0.075), (60, 0.075), (70, base_a), (180, base_a)):
        course.append(drain(until_min * MINUTE - sum(piece.seconds for piece in course), amps))
        if until_min in (16, 30, 70):
            course.append(drain(30, 0.5))
    return course


@each_seed
def test_a_flagships_normal_sleep_with_its_wakes_raises_nothing(seed):
    assert raised(flagship(0.060), FLAGSHIP, seed) == []


@each_seed
def test_the_same_with_95_ma_from_60_min_on_is_raised_five_minutes_later(seed):
    (first, at_s), *_ = raised(flagship(0.095), FLAGSHIP, seed)
    assert first == "standing-current"
    # a look each minute sees it within a minute; the next after that is the first to last five
    assert 65 * MINUTE <= at_s <= 67 * MINUTE


@each_seed
@pytest.mark.parametrize(("amps", "alarms"), [(0.095, 1), (0.078, 0)])
def test_the_preset_for_many_modules_tells_the_one_and_not_the_other(seed, amps, alarms):
    found = raised(flagship(amps), load_rules(Vehicle(), None, "many-modules"), seed)
    assert [name for name, _ in found] == ["awake"] * alarms
    # twice the five minutes of its own monitor, which a boot that stands open would set off
    assert all(70 * MINUTE <= at_s <= 72 * MINUTE for _, at_s in found)


@each_seed
def test_the_evaporative_leak_test_of_1_a_for_45_min_raises_no_drain(seed):
    # service information of a US sedan, 2010: about 1 A up to 45 min after key-off; here with the wait of 60 min
    quiet = rules(
        limit("standing_current", high=0.05, after_s=60 * MINUTE, on_delay_s=5 * MINUTE),
        limit("sleep_current", high=0.05, after_s=60 * MINUTE, on_delay_s=5 * MINUTE),
        limit("mean_night_current", high=0.05, after_s=60 * MINUTE, on_delay_s=5 * MINUTE),
        limit("time_to_sleep", high=75 * MINUTE),
    )
    assert raised([drain(45 * MINUTE, 1.0), drain(5 * 3600, 0.025)], quiet, seed) == []


@each_seed
@pytest.mark.parametrize(("volts", "minutes", "alarms"), [(12.9, 44, 0), (12.9, 46, 1)])
def test_a_managed_alternator_may_stay_at_12_9_v_for_45_min(seed, volts, minutes, alarms):
    # smart charging, technical tip of 2006 on service information of 2004: below 13.2 V for 45 min it must charge again
    charging = rules(
        limit("charging_volts", low=13.2, deadband=0.2, on_delay_s=45 * MINUTE),
        limit("uncharged", high=20 * MINUTE),
        limit("charging_delay", high=60.0),
    )
    economy = Piece(minutes * MINUTE, 1.0, volts, noise_a=0.5)
    drive = [drain(3600, 0.02), KEY_ON, CRANK, economy, Piece(1200, 10.0, 14.5, noise_a=0.5)]
    told = raised([*drive, drain(1800, 0.02)], charging, seed)
    assert [name for name, _ in told] == ["charging-volts"] * alarms


def told(alarm, values):
    return [(values[k], t.what) for k, value in enumerate(values) for t in alarm.take(k * SECOND_US, value)]


def test_high_40_ppb_with_a_hysteresis_of_10_percent_clears_at_36():
    # analyser manual p. 20
    alarm = LimitAlarm(limit(high=40.0, deadband=0.1 * 40.0), "high")
    assert told(alarm, [39.0, 40.0, 38.0, 36.0]) == [(40.0, "raised"), (36.0, "returned")]


def test_low_20_with_a_hysteresis_of_10_percent_clears_at_22():
    alarm = LimitAlarm(limit(low=20.0, deadband=0.1 * 20.0), "low")
    assert told(alarm, [21.0, 20.0, 21.5, 22.0]) == [(20.0, "raised"), (22.0, "returned")]


def test_high_250_f_with_a_deadband_of_10_clears_at_240_and_low_50_at_60():
    # wireless transmitter manual p. 97
    high = LimitAlarm(limit(high=250.0, deadband=10.0), "high")
    assert told(high, [250.0, 241.0, 240.0]) == [(250.0, "raised"), (240.0, "returned")]
    low = LimitAlarm(limit(low=50.0, deadband=10.0), "low")
    assert told(low, [50.0, 59.0, 60.0]) == [(50.0, "raised"), (60.0, "returned")]


@each_seed
def test_periodic_telematics_have_a_mean_of_30_5_ma_and_six_wakes_an_hour(seed):
    # service manual, 2001: 160 mA for 45 s every 10 min; 20 mA below it: 20 + 140 · 45/600 = 30.5 mA, 6 an hour.
    # Bounds a tenth wider than the mean's noise (1 mA/√n) and the wakes that the window's ends cut.
    night = [piece for _ in range(48) for piece in (drain(555, 0.020), drain(45, 0.160))]
    within = rules(limit("mean_night_current", high=0.0315), limit("wake_up_rate", high=6.6, window_s=4 * 3600.0))
    beyond = rules(limit("mean_night_current", high=0.0295), limit("wake_up_rate", high=5.4, window_s=4 * 3600.0))
    assert raised([drain(900, 0.020), *night], within, seed) == []
    assert {name for name, _ in raised([drain(900, 0.020), *night], beyond, seed)} == {
        "mean-night-current",
        "wake-up-rate",
    }


def test_the_states_are_the_seven_of_the_standard():
    # ISA-18.2 / IEC 62682 as followed by a NAMUR MTP runtime: letters A to G
    alarm = LimitAlarm(limit(), "high")
    seen = [alarm.state_name()]
    alarm.take(0, 41.0)
    seen.append(alarm.state_name())
    alarm.acknowledge(1)
    seen.append(alarm.state_name())
    alarm.take(2, 0.0)
    alarm.take(3, 41.0)
    alarm.take(4, 0.0)
    seen.append(alarm.state_name())
    alarm.shelve(5, 10 * SECOND_US)
    seen.append(alarm.state_name())
    alarm.unshelve(6)
    alarm.hush(None)
    seen.append(alarm.state_name())
    alarm.out_of_service(7)
    seen.append(alarm.state_name())
    assert seen == [
        "normal",
        "unacknowledged",
        "acknowledged",
        "returned_unacknowledged",
        "shelved",
        "suppressed_by_design",
        "out_of_service",
    ]
