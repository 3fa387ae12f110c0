"""Somebody at the vehicle is no drain: amperes for some minutes, now and then."""

import pytest

from monitor.assess.sleeps import sleeps_of
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
