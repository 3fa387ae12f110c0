"""Somebody at the vehicle is no drain: amperes for some minutes, now and then."""

import pytest

from monitor.assess.sleeps import sleeps_of
from monitor.base.fields import Span
from monitor.base.results import WakeUp
from tests.assess.cars import HOUR_US, document, stand


def a_wake_up(length_s, excess_a, peak_a):
    start = 2 * HOUR_US
    return WakeUp(
        start=start,
        end=start + round(length_s * 1e6),
        peak_a=peak_a,
        excess_a=excess_a,
        charge_ah=excess_a * length_s / 3600,
    )


def mean_with(wake):
    (sleep,) = sleeps_of(document([stand(0, 4, wake_ups=[wake])]), 1.0)
    return sleep.mean_a


@pytest.mark.parametrize(
    ("length_s", "excess_a", "peak_a"),
    [
        (300, 2.5, 3.0),  # the boot open for five minutes
        (1009, 0.57, 3.65),  # the same for 157 s, met by a module's own wake-up of ten minutes
    ],
)
def test_a_visit_is_left_out_of_the_mean(length_s, excess_a, peak_a):
    assert mean_with(a_wake_up(length_s, excess_a, peak_a)) == pytest.approx(0.02)


@pytest.mark.parametrize(
    ("length_s", "excess_a", "peak_a"),
    [
        (1700, 1.0, 1.2),  # a module awake for half an hour
        (2280, 1.2, 1.9),  # one event in the night, 38 minutes
        (300, 0.3, 0.35),  # too little for lamps
    ],
)
def test_a_module_that_stays_awake_is_not(length_s, excess_a, peak_a):
    assert mean_with(a_wake_up(length_s, excess_a, peak_a)) > 0.021


def at(hours, length_s, excess_a, group):
    start = round(hours * HOUR_US)
    end = start + round(length_s * 1e6)
    charge = excess_a * length_s / 3600
    return WakeUp(start=start, end=end, peak_a=excess_a, excess_a=excess_a, charge_ah=charge, group=group)


def test_four_visits_in_two_days_are_no_module():
    visits = [at(2, 224, 1.86, 1), at(9, 216, 2.1, 1), at(14, 220, 1.9, 1), at(34, 225, 1.6, 1)]
    stands = [stand(0, 4, wake_ups=visits[:1]), stand(8, 18, wake_ups=visits[1:3]), stand(30, 48, wake_ups=visits[3:])]
    assert [sleep.mean_a for sleep in sleeps_of(document(stands), 1.0)] == pytest.approx([0.02] * 3)
    stands[2].wake_ups.append(at(40, 220, 1.8, 1))  # five in two days are one
    assert all(sleep.mean_a > 0.021 for sleep in sleeps_of(document(stands), 1.0))


def test_three_visits_in_a_long_stand_are_no_module_three_events_in_a_night_are():
    wakes = [at(2, 240, 2.3, 1), at(3.2, 400, 2.1, 1), at(7, 385, 2.2, 1)]
    (sunday,) = sleeps_of(document([stand(0, 18, wake_ups=wakes)]), 1.0)
    assert sunday.mean_a == pytest.approx(0.02)
    (night,) = sleeps_of(document([stand(0, 10, wake_ups=wakes)]), 1.0)
    assert night.mean_a > 0.05


def test_two_modules_that_each_keep_the_published_rhythm_are_normal():
    polls = [at(1 + k * 0.16, 14, 1.1, 1) for k in range(40)]
    beacons = [at(1.08 + k * 0.16, 54, 0.17, 2) for k in range(40)]  # between them: one every five minutes in all
    (sleep,) = sleeps_of(document([stand(0, 10, wake_ups=[*polls, *beacons])]), 1.0)
    assert sleep.normal
    often = [at(1 + k * 0.08, 14, 1.1, 1) for k in range(80)]
    (sleep,) = sleeps_of(document([stand(0, 10, wake_ups=[*often, *beacons])]), 1.0)
    assert not sleep.normal


def test_a_drive_that_nothing_charged_with_its_shutdown_behind_it_is_no_wake_up():
    """27 A for four minutes, then half an hour of a shutdown: 5 A in the mean of its 35 minutes."""
    assert mean_with(a_wake_up(2100, 5.1, 35.0)) == pytest.approx(0.02)
    assert mean_with(a_wake_up(2100, 5.1, 9.0)) > 0.5  # a module that draws no more than that at any time


def test_wake_ups_beside_a_charge_are_none_of_a_sleeping_vehicles():
    """A drive that a slow logger did not show as one charges in pulses; between them it reads like wake-ups."""
    restless = [at(3 + 0.02 * k, 40, 0.6, 1) for k in range(20)]
    beside = stand(0, 12, wake_ups=restless)
    beside.charges = [Span(start=3 * HOUR_US, end=3 * HOUR_US + 90_000_000)]
    assert [sleep.mean_a for sleep in sleeps_of(document([beside]), 1.0)] == pytest.approx([0.02])
    beside.charges = [Span(start=6 * HOUR_US, end=7 * HOUR_US)]  # hours later: a charger
    assert [sleep.mean_a > 0.025 for sleep in sleeps_of(document([beside]), 1.0)] == [True]
