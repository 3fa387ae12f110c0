"""When the engine stopped: told apart from an alternator that left its loads to the battery just before.

An engine-managed alternator lets go of its loads for seconds after braking, and may then hold the battery where it is.
"""

import numpy as np
import pytest

from monitor.base.samples import Seconds
from monitor.detect.facts import Facts
from monitor.detect.stopping import find_stop

CHARGED = [(14.3, 10.0)] * 12
PARKED = [-6.0, -6.1, -6.0, -5.9, -6.0, -6.1, -6.0, -6.0] * 5 + [-1.0] * 300 + [-0.02] * 600


def stop_row(*parts, charged=True):
    """The row of the stop behind CHARGED, in seconds of (V, A) or of amps alone at 13.0 V, less 10 mV for each amp."""
    rows = [row if isinstance(row, tuple) else (13.0 + 0.01 * row, row) for part in parts for row in part]
    volts, amps = (np.array(column) for column in zip(*[*CHARGED, *rows], strict=True))
    n, none = len(amps), np.zeros(len(amps), np.int64)
    held = Seconds(
        np.arange(n, dtype=np.int64), none + 1, volts, volts, volts, amps, amps, amps, np.full(n, np.nan), *[none] * 4
    )
    return find_stop(held[:0], held, len(CHARGED), charged, Facts()).row - len(CHARGED)


def test_a_stop_out_of_charge_is_the_first_step():
    assert stop_row(PARKED) == 0


@pytest.mark.parametrize(
    "back", [[-9.0, -3.0, -2.0], [-12.0, 0.0, 0.0, 0.0], [-9.0, -3.0, *[-30.0] * 6, -9.0, -2.0, -2.0]]
)
def test_loads_that_the_alternator_took_back_before_the_next_step_were_no_stop(back):
    relief = [-17.0, -17.1, -17.2, -17.3, -17.4, -17.4, -17.3, -17.2]
    assert stop_row(relief, back, PARKED) == len(relief) + len(back)


@pytest.mark.parametrize("held_s", [20, 65, 150])
def test_a_battery_that_is_charged_a_little_before_the_next_step_is_kept_by_an_engine(held_s):
    assert stop_row([-15.0, -6.0], [(13.1, 0.1)] * held_s, PARKED) == 2 + held_s


def test_a_logger_whose_zero_is_off_makes_no_sleeping_vehicle_run():
    """0.1 A too high, it reads a sleeping vehicle as charged: what it reads in the end is its zero."""
    sleeping = [0.08] * 100
    visit = [-4.0] * 60
    assert stop_row([-6.0] * 30, sleeping, visit, [0.08] * 900) == 0


def test_somebody_at_the_vehicle_minutes_after_the_stop_does_not_move_it():
    assert stop_row([-6.0] * 30, [-0.5] * 90, [-4.0] * 60, [-0.02] * 900) == 0


def test_loads_that_keep_changing_before_they_are_constant_are_an_engines():
    swings = [-17.0, -18.5, -15.1, -20.4, -16.2, -13.5, -9.8, -12.6, -7.9]
    assert stop_row(swings, PARKED) == len(swings)


def test_a_first_stage_of_five_seconds_that_changes_a_little_is_a_shutdown():
    assert stop_row([-7.1, -7.2, -7.4, -7.6, -6.4], [-3.1] * 60, [-0.02] * 900) == 0


def test_lamps_that_light_the_way_home_do_not_put_off_the_end_of_an_engine_without_charge():
    rng = np.random.default_rng(5)
    driven = [(12.4, a) for a in -15.0 + 0.4 * rng.standard_normal(120)]
    parked = [(12.5, a) for a in [-5.5] * 40 + [-9.7] * 50 + [-2.0] * 200 + [-0.02] * 600]
    assert stop_row(driven, parked, charged=False) == pytest.approx(len(driven), abs=1)


def test_a_charger_connected_minutes_after_the_stop_does_not_move_it():
    assert stop_row([-6.0] * 30, [(13.1, 0.1)] * 300, [-4.0] * 60, [-0.02] * 900) == 0


def test_a_shutdown_does_not_begin_with_the_least():
    assert stop_row([-1.3] * 11, [-16.0] * 25, [-2.0] * 300, [-0.02] * 900) == 11


def test_a_bump_among_loads_that_an_alternator_carries_restlessly_hides_none_of_it():
    carried = -1.2 + 0.3 * np.sin(np.arange(110) / 3.0)
    relief = [-7.1, -15.2, -14.9, -3.2, *[-1.4] * 8, -3.0, -3.8, -3.3, -3.0]
    assert stop_row(relief, carried.tolist(), PARKED) == len(relief) + len(carried)


@pytest.mark.parametrize("seconds", [4, 9, 14])
def test_the_stages_of_a_shutdown_are_no_wandering_loads_however_short_they_are(seconds):
    """Each load dies away a little and then goes: what never comes up again is no engine's."""
    stages = [[-a * (1 - 0.05 * k / seconds) for k in range(seconds)] for a in (7.3, 5.6, 2.1, 0.9, 0.2)]
    assert stop_row(*stages, [-0.04] * 360, [-5.7] * 15) == 0


@pytest.mark.parametrize("seed", range(5))
def test_a_vehicle_left_with_as_little_as_an_alternator_left_the_battery_has_stopped(seed):
    """2.4 A that wander, then a shutdown of 25 s that ends in 2 A: alike in the mean, but constant.

    Within the 5 s that are asked: the last swing before it may look like its first step.
    """
    wandering = (-2.4 + 1.2 * np.random.default_rng(seed).standard_normal(90)).tolist()
    assert stop_row(wandering, [-11.5] * 25, [-2.0] * 900) == pytest.approx(len(wandering), abs=5)


def test_loads_that_the_alternator_soon_carries_again_restlessly_were_no_stop():
    """30 A in pieces of 7 s, for most of a minute, are followed by minutes at half an ampere that wanders."""
    helped = [-a for a in (30.5, 34.8, 31.6, 34.3, 29.7, 31.0, 35.8) for _ in range(7)]
    carried = (-0.6 + 0.2 * np.random.default_rng(5).standard_normal(220)).tolist()
    assert stop_row(helped, carried, PARKED) == len(helped) + len(carried)


def test_a_door_that_is_opened_in_a_stage_of_the_shutdown_does_not_move_the_stop():
    """14 A, 5 A for 20 s, then 10 A with the courtesy lamps: the least came first, but it was constant."""
    assert stop_row([-14.0, -14.0], [-5.0, -5.0, -4.9, -5.0] * 5, [-10.3] * 60, [-1.0] * 300, [-0.02] * 600) == 0
