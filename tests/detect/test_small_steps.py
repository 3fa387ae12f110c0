"""Levels that change by less than a single row's noise, and what must not be taken for a level."""

import numpy as np
import pytest

from monitor.detect.held import Held
from monitor.detect.levels import baseline
from monitor.detect.texture import Texture
from tests.detect.scene import Scene, after_s, document


def the_stand(block):
    return document(block).stands[0]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("from_a", "to_a"), [(0.010, 0.020), (0.030, 0.018)])
def test_a_step_of_two_and_a_half_sigma_is_one_step_and_no_night_of_wake_ups(seed, from_a, to_a):
    """4 mA of noise in each reading: the step is in every minute's mean, and in no single reading for certain.

    In its first minute alone may it be taken for a wake-up that has ended.
    """
    stand = the_stand(Scene().asleep(18_000, from_a).asleep(10_800, to_a).read(1.0, noise_a=0.004, seed=seed))
    (step,) = stand.level_steps
    assert after_s(step.at) == pytest.approx(18_000, abs=120)  # the minute in which it lies, and its neighbour
    # 3 standard errors of an hour's readings, and two minutes of the other level among two hours
    assert step.from_a == pytest.approx(from_a, abs=3 * 0.004 / 60 + 0.012 / 60)
    assert step.to_a == pytest.approx(to_a, abs=3 * 0.004 / 60 + 0.012 / 60)
    assert all(abs(after_s(wake.start) - 18_000) < 60 for wake in stand.wake_ups)
    assert len(stand.wake_ups) <= 1


@pytest.mark.parametrize("seed", range(3))
def test_a_step_of_one_value_of_a_coarse_logger_is_told(seed):
    """Readings of 10 mA with 2 mA of noise: 6.7 mA reads 10 in 80.2 % of them, Φ(0.85), else 0; 20 mA always 20."""
    scene = Scene().asleep(7200, 0.0067).asleep(10_800, 0.020)
    stand = the_stand(scene.read(1.0, noise_a=0.002, step_a=0.010, seed=seed))
    (step,) = stand.level_steps
    assert after_s(step.at) == pytest.approx(7200, abs=120)
    # 3 standard errors of two hours' readings, and two minutes of the other level among them
    assert step.to_a - step.from_a == pytest.approx(0.020 - 0.00802, abs=3 * 0.004 / 85 + 0.012 / 60)
    assert stand.wake_ups == []


def test_a_step_is_told_though_single_seconds_of_a_flash_stand_out_further():
    """10 mA more, where a receiver's pulses of 30 mA fill a fiftieth of the seconds."""
    block = Scene().asleep(7200, 0.009).asleep(10_800, 0.019).read(1.0, averaging=False)
    block.amps[np.random.default_rng(5).random(len(block)) < 1 / 50] -= 0.030
    (step,) = the_stand(block).level_steps
    assert after_s(step.at) == pytest.approx(7200, abs=10)


@pytest.mark.parametrize(("lows_a", "lift_a"), [([0.041], 0.003), ([0.021, 0.0215], 0.025)])
def test_minutes_that_are_off_the_level_or_off_those_before_alone_have_not_jumped(lows_a, lift_a):
    """Those before may have lain in a wake-up, and pulses may have lifted the level: a step differs from both."""
    rows = 0.023 + 0.004 * np.random.default_rng(3).standard_normal(600)
    held = Held(0, 600, 0.025, Texture(noise_a=0.004), lift_a=lift_a, lows_a=lows_a)
    _, jumped = baseline(rows, held)
    assert not jumped.any()


@pytest.mark.parametrize("to_a", [0.042, 0.120])
def test_a_module_that_wakes_and_does_not_sleep_again_is_a_wake_up_and_a_step(to_a):
    stand = the_stand(Scene().asleep(7200, 0.014).load(30, -1.9).asleep(10_800, to_a).read(1.0))
    (wake,) = stand.wake_ups
    assert after_s(wake.start) == pytest.approx(7200, abs=1.1)
    assert after_s(wake.end) == pytest.approx(7230, abs=1.1)
    assert wake.charge_ah == pytest.approx(30 * (1.9 - to_a) / 3600, rel=0.03)
    (step,) = stand.level_steps
    assert after_s(step.at) == pytest.approx(7200, abs=31)
    assert (step.from_a, step.to_a) == (pytest.approx(0.014, abs=0.001), pytest.approx(to_a, abs=0.001))


def test_amps_that_one_sample_meets_again_and_again_are_a_modules_and_not_the_level():
    """2.5 A for 3 s every 7 min, read every 2 s: no receiver draws that, so it is no texture of the level."""
    scene = Scene()
    for _ in range(40):
        scene.asleep(417, 0.014).load(3, -2.5)
    stand = the_stand(scene.read(0.5, averaging=False))
    assert stand.sleep_current_a == pytest.approx(0.014, abs=0.0005)
    assert len(stand.wake_ups) == 40


def test_a_module_that_pulses_while_the_first_level_is_sought_is_no_level():
    """117 and 201 mA in turn when the first ten minutes have been read: a median there is none of the vehicle's."""
    scene = Scene().asleep(200, 0.034)
    for _ in range(3):
        scene.asleep(448, 0.034)
        for _ in range(142):
            scene.load(1, -0.117).load(1, -0.201)
        scene.asleep(2400, 0.034)
    stand = the_stand(scene.read(1.0, averaging=False, noise_a=0.001, from_s=60))
    assert stand.sleep_current_a == pytest.approx(0.034, abs=0.0005)
    assert [wake.end - wake.start for wake in stand.wake_ups] == pytest.approx([284e6] * 3, abs=3e6)


def test_hours_at_a_sleeping_vehicles_level_are_sleep_though_it_falls_later():
    """50 mA for five hours, then 30 mA: asleep from the beginning, with a step."""
    scene = Scene().asleep(196).crank().running(200).shutdown().asleep(18_000, 0.050).asleep(7200, 0.030)
    stand = document(scene.read(1.0)).stands[1]
    assert stand.time_to_sleep_s == pytest.approx(542, abs=10)
    (step,) = stand.level_steps
    assert after_s(step.at) == pytest.approx(196 + 4.8 + 200 + 542 + 18_000, abs=5)


@pytest.mark.parametrize("hours", [0.5, 5.0])
def test_a_module_that_stays_awake_for_long_is_not_yet_asleep(hours):
    """0.3 A until it sleeps: so much is no sleeping vehicle's, however long it lasts."""
    scene = Scene().asleep(196).crank().running(200).shutdown().asleep(hours * 3600, 0.300).asleep(14_400, 0.030)
    stand = document(scene.read(1.0)).stands[1]
    assert stand.time_to_sleep_s == pytest.approx(542 + hours * 3600, abs=10)


@pytest.mark.parametrize("seed", range(4))
def test_a_shutdown_that_dies_away_into_the_noise_ends_in_no_wake_up(seed):
    """The last tens of milliamperes fade within a minute: their end, lost in the noise, is not told as awake again."""
    scene = Scene().asleep(196).crank().running(200).shutdown()
    for k in range(60):
        scene.load(1, -0.025 - 0.120 * np.exp(-k / 6.0))
    stand = document(scene.asleep(9000, 0.025).read(1.0, noise_a=0.010, seed=seed)).stands[1]
    assert stand.wake_ups == []
