"""Settling, sleep plateaus, level steps and wake-ups of a stand."""

import numpy as np
import pytest

from monitor.base.samples import Block
from tests.detect.scene import Scene, after_s, document


def the_stand(block, which=0):
    return document(block).stands[which]


def drive_and_settle(asleep_s=7200.0, drain_a=0.02):
    """A short drive, its shutdown, and the vehicle asleep; the engine stops at 400.8 s, sleep begins at 942.8 s."""
    scene = Scene().asleep(196).crank().running(200).shutdown()
    return scene.asleep(asleep_s, drain_a)


STOP_S, SLEEP_S = 400.8, 942.8


def add_flash(block, peak_a=0.015, width_s=0.02, period_s=1.3):
    """A security lamp on top: caught whole, in part or not at all by each interval of a 1 Hz logger that averages."""
    t = (block.t_us - block.t_us[0]) / 1e6
    begins = np.floor((t + 1.0) / period_s) - np.floor(t / period_s)  # flashes that begin within each second
    return Block(block.t_us, block.volts, block.amps - peak_a * width_s * begins)


@pytest.mark.parametrize("hz", [0.2, 1.0, 10.0])
def test_the_staircase_ends_where_the_lowest_level_begins(hz):
    stand = the_stand(drive_and_settle().read(hz), 1)
    assert after_s(stand.settled_at) == pytest.approx(SLEEP_S, abs=max(3.0, 2 / hz))
    assert stand.time_to_sleep_s == pytest.approx(SLEEP_S - STOP_S, abs=max(4.0, 3 / hz))
    assert stand.sleep_current_a == pytest.approx(0.02, abs=2e-4)
    assert len(stand.plateaus) == 1
    assert stand.level_steps == []
    assert stand.wake_ups == []


def test_a_stand_that_began_before_the_log_has_no_time_to_sleep():
    stand = the_stand(Scene().asleep(3600).read(1.0))
    assert stand.time_to_sleep_s is None
    assert stand.sleep_current_a == pytest.approx(0.02, abs=1e-4)


def test_a_stage_of_the_shutdown_is_no_sleep():
    """An hour at 0.15 A on the way down: the level sought is the one it settles at."""
    scene = Scene().asleep(196).crank().running(200).load(12, -6.0).load(120, -2.0).load(3600, -0.15)
    begins = scene.now_s
    stand = the_stand(scene.asleep(7200).read(1.0), 1)
    assert after_s(stand.settled_at) == pytest.approx(begins, abs=3)
    assert stand.sleep_current_a == pytest.approx(0.02, abs=2e-4)
    assert stand.level_steps == []


def test_a_lamp_that_flashes_belongs_to_the_level():
    block = add_flash(Scene().asleep(7200).read(1.0))
    stand = the_stand(block)
    assert stand.wake_ups == []
    assert stand.level_steps == []
    # 15 mA for 20 ms every 1.3 s are 0.23 mA on the mean
    assert stand.sleep_current_a == pytest.approx(0.02 + 0.015 * 0.02 / 1.3, abs=5e-5)


def test_polling_caught_by_single_samples_belongs_to_the_level():
    """A receiver listens for 4 ms every 250 ms; a logger that does not average catches one sample in sixty or so."""
    block = Scene().asleep(7200).read(1.0)
    caught = np.random.default_rng(2).random(len(block)) < 0.016
    stand = the_stand(Block(block.t_us, block.volts, block.amps - 0.08 * caught))
    assert stand.wake_ups == []
    assert stand.level_steps == []
    # 0.08 A in 1.6 % of the samples are 1.28 mA; 115 of them caught by chance: ± 0.1 mA
    assert stand.sleep_current_a == pytest.approx(0.02 + 0.08 * 0.016, abs=4e-4)


@pytest.mark.parametrize("drift_ma_per_h", [-2.0, 1.0, 3.0])
def test_slow_drift_is_no_step(drift_ma_per_h):
    block = Scene().asleep(10 * 3600, 0.03).read(1.0)
    hours = (block.t_us - block.t_us[0]) / 3.6e9
    stand = the_stand(Block(block.t_us, block.volts, block.amps - drift_ma_per_h * 1e-3 * hours))
    assert stand.level_steps == []
    assert stand.wake_ups == []
    assert stand.sleep_current_a == pytest.approx(0.03 + drift_ma_per_h * 5e-3, abs=5e-4)


@pytest.mark.parametrize("more_a", [0.03, 0.25, 1.5])
def test_a_module_that_stays_awake_is_a_step_with_its_time(more_a):
    stand = the_stand(Scene().asleep(7200).load(14_400, -0.02 - more_a).read(1.0))
    (step,) = stand.level_steps
    assert after_s(step.at) == pytest.approx(7200, abs=2)
    assert step.from_a == pytest.approx(0.02, abs=1e-3)
    assert step.to_a == pytest.approx(0.02 + more_a, rel=0.02)
    assert stand.wake_ups == []
    assert len(stand.plateaus) == 2


def test_a_fault_that_goes_away_is_a_step_down():
    stand = the_stand(Scene().load(14_400, -0.09).asleep(14_400).read(1.0))
    assert stand.sleep_current_a == pytest.approx(0.02, abs=1e-3) or len(stand.level_steps) == 1


@pytest.mark.parametrize("length_s", [1, 2, 7, 45, 600, 3000])
def test_a_wake_up_of_any_length_is_told_with_its_charge(length_s):
    scene = Scene().asleep(3600).load(length_s, -0.62).asleep(3600)
    (wake,) = the_stand(scene.read(1.0)).wake_ups
    assert after_s(wake.start) == pytest.approx(3600, abs=1.1)
    assert after_s(wake.end) == pytest.approx(3600 + length_s, abs=1.1)
    # 0.5 mA of noise a second over the wake-up's seconds and the two of its edges
    slack = 3 * 0.0005 * np.sqrt(length_s + 2) / 3600 + 0.01 * 0.6 * length_s / 3600
    assert wake.charge_ah == pytest.approx(0.6 * length_s / 3600, abs=slack)
    assert wake.peak_a == pytest.approx(0.62, abs=0.003)


def test_a_weak_stage_of_a_wake_up_in_noise_is_neither_drift_nor_level():
    scene = drive_and_settle(1800, 0.028)
    for _ in range(6):
        scene = scene.load(150, -0.065).load(300, -0.045).asleep(2400, 0.028)
    stand = the_stand(scene.read(1.0, noise_a=0.00375, step_a=0.002), 1)
    # 28 mA within 1 %: the interval of 16,000 readings with 3.75 mA of noise is narrower
    assert stand.sleep_current_a == pytest.approx(0.028, abs=0.0003)
    assert len(stand.wake_ups) == 6
    assert [(w.end - w.start) / 1e6 for w in stand.wake_ups] == pytest.approx([450.0] * 6, abs=15.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_wake_up_whose_second_stage_is_hardly_more_than_the_noise_is_one(seed):
    """42 mA, then 19 mA; 3 mA of noise in readings of 2 mA, 1 in 130 of which meets a receiver's pulse of 59 mA."""
    scene = Scene().asleep(5000, 0.0072)
    for _ in range(5):
        scene.load(100, -0.049).load(205, -0.026).asleep(2400, 0.0072)
    block = scene.asleep(2000, 0.0072).read(1.0, averaging=False, noise_a=0.003, step_a=0.002, seed=seed)
    block.amps[np.random.default_rng(seed).random(len(block)) < 1 / 130] -= 0.059
    wakes = [wake for wake in document(block).stands[0].wake_ups if wake.end - wake.start > 10e6]
    assert len(wakes) == 5  # how far into the second stage is chance: it lies at the band's edge


def test_a_wake_up_that_fills_no_whole_second_is_told_with_its_charge():
    scene = Scene().asleep(3600.3).load(2.5, -0.62).asleep(3600)
    (wake,) = the_stand(scene.read(1.0)).wake_ups
    assert wake.charge_ah == pytest.approx(0.6 * 2.5 / 3600, rel=0.02)
    # how full the first and the last second are tells where in them it began and ended
    assert after_s(wake.start) == pytest.approx(3600.3, abs=0.05)
    assert after_s(wake.end) == pytest.approx(3602.8, abs=0.05)


def test_wake_ups_stand_out_on_top_of_a_step():
    scene = Scene().asleep(7200).load(7200, -0.2)
    scene.load(20, -0.8).load(7200, -0.2)
    stand = the_stand(scene.read(1.0))
    assert len(stand.level_steps) == 1
    (wake,) = stand.wake_ups
    assert after_s(wake.start) == pytest.approx(14_400, abs=1.1)
    assert wake.charge_ah == pytest.approx(0.6 * 20 / 3600, rel=0.02)


def test_a_few_milliamperes_more_for_a_while_are_nothing():
    """No excursion smaller than 5 mA is told, however quiet the logger."""
    scene = Scene().asleep(3600).load(60, -0.0235).asleep(3600)
    stand = the_stand(scene.read(1.0, noise_a=0.0002))
    assert stand.wake_ups == []
    assert stand.level_steps == []


def test_wake_ups_in_a_rhythm_are_told_one_by_one():
    scene = Scene().asleep(1800)
    for _ in range(20):
        scene.load(30, -0.25).asleep(570)
    wakes = the_stand(scene.read(1.0)).wake_ups
    assert len(wakes) == 20
    gaps = np.diff([w.start for w in wakes]) / 1e6
    assert np.all(np.abs(gaps - 600) < 1.1)


def test_wake_ups_that_overlap_are_one_excursion():
    scene = Scene().asleep(3600).load(20, -0.2).load(20, -0.5).load(30, -0.32).asleep(3600)
    (wake,) = the_stand(scene.read(1.0)).wake_ups
    assert (wake.end - wake.start) / 1e6 == pytest.approx(70, abs=2)
    assert wake.charge_ah == pytest.approx((0.18 * 20 + 0.48 * 20 + 0.30 * 30) / 3600, rel=0.02)


def test_a_slow_logger_sees_a_wake_up_in_its_samples():
    scene = Scene().asleep(7200).load(60, -0.6).asleep(7200)
    (wake,) = the_stand(scene.read(0.2)).wake_ups
    assert wake.charge_ah == pytest.approx(0.58 * 60 / 3600, rel=0.1)  # a sample more or less on each side: 5 s of 60


def test_a_receivers_pulses_that_a_slow_logger_meets_by_chance_are_no_wake_ups():
    """One sample in 5 s; a pulse of 1.8 ms every 0.47 s is met by 1 in 260. Real ones of 20 s are found beside them."""
    scene = Scene().asleep(3600)
    for _ in range(8):
        scene.load(20, -0.14).asleep(3600)
    block = scene.read(0.2, averaging=False, noise_a=0.0015)
    block.amps[np.random.default_rng(3).random(len(block)) < 1 / 260] -= 0.033
    wakes = the_stand(block).wake_ups
    assert [after_s(wake.start) for wake in wakes] == pytest.approx([3600 + 3620 * k for k in range(8)], abs=6)


def test_a_logger_of_ten_milliamperes_gives_a_level_between_its_steps():
    """The logger's own noise moves the reading between its steps: the mean is finer than a step."""
    block = Scene().asleep(14_400, 0.034).read(1.0, noise_a=0.006, step_a=0.01)
    stand = the_stand(block)
    assert stand.wake_ups == []
    assert stand.level_steps == []
    assert stand.sleep_current_a == pytest.approx(0.034, abs=0.001)
    assert stand.sleep_current_low_a <= 0.034 <= stand.sleep_current_high_a


@pytest.mark.parametrize(("noise_a", "drain_a"), [(0.0005, 0.0174), (0.0005, 0.0178), (0.001, 0.0174), (0.0015, 0.017)])
def test_a_coarse_logger_that_flickers_between_two_values_has_no_wake_ups(noise_a, drain_a):
    """Steps of 5 mA: the reading is 15 or 20 mA, and the level lies between."""
    scene = Scene().crank().running(300).load(60, -2.0).asleep(4000, drain_a)
    logs = [scene.read(1.0, noise_a=noise_a, step_a=0.005, seed=seed) for seed in range(6)]
    assert [the_stand(log, 1).wake_ups for log in logs] == [[]] * 6


@pytest.mark.parametrize("seed", range(6))
def test_long_wake_ups_in_noise_do_not_lift_the_level_so_that_others_are_seen(seed):
    """390 mA for three minutes and 1.3 A for one, oftener than every ten: 4 mA of noise, steps of 5 mA."""
    scene, random = Scene().asleep(1500, 0.019), np.random.default_rng(seed)
    for _ in range(30):
        scene.load(60, -1.29)
        if random.random() < 0.5:
            scene.load(180, -0.39)
        scene.asleep(80 + 60 * float(random.random()), 0.019)
    stand = the_stand(scene.asleep(600, 0.019).read(1.0, noise_a=0.004, step_a=0.005, seed=seed))
    assert [wake.peak_a for wake in stand.wake_ups if wake.peak_a < 0.1] == []
    assert len(stand.wake_ups) == 30


def test_a_quiet_night_at_ten_hertz_has_no_wake_ups():
    stand = the_stand(Scene().asleep(7200).read(10.0, noise_a=0.002))
    assert stand.wake_ups == []
    assert stand.level_steps == []


def test_without_a_settled_level_nothing_is_asleep():
    """Somebody works on the car: another load every minute, for an hour."""
    random, scene = np.random.default_rng(4), Scene()
    for _ in range(60):
        scene.load(60, -float(np.exp(random.uniform(-2, 1.5))))
    stand = the_stand(scene.read(1.0))
    assert stand.sleep_current_a is None
    assert stand.settled_at is None
    assert stand.wake_ups == []


def test_the_approach_of_the_driver_is_no_wake_up():
    for arrival in (Scene().asleep(7200).load(40, -3.0), Scene().asleep(7200).load(15, -3.0).asleep(25)):
        assert the_stand(arrival.crank().running(120).read(1.0)).wake_ups == []


def test_what_was_awake_for_the_last_half_hour_before_the_crank_is_told():
    scene = Scene().asleep(7200).load(1800, -0.5).crank().running(120)
    stand = the_stand(scene.read(1.0))
    told = [(after_s(w.start), w.charge_ah) for w in stand.wake_ups]
    assert told or stand.level_steps


@pytest.mark.parametrize("hz", [1.0, 5.0])
def test_a_drain_that_rises_all_night_is_followed_from_where_it_can_be(hz):
    """20 mA to 1.65 A in eleven hours, 2.4 mA a minute: it is not what it was at first."""
    stand = the_stand(Scene().load(40_000, -0.02, to_amps=-1.65).read(hz, noise_a=0.0026, step_a=0.0036))
    last = max(stand.plateaus, key=lambda p: p.end - p.start)
    assert (last.end - last.start) / 1e6 > 0.7 * 40_000
    middle_s = (after_s(last.start) + after_s(last.end)) / 2
    assert stand.sleep_current_a == pytest.approx(0.02 + 1.63 * middle_s / 40_000, rel=0.05)


def test_a_few_milliamperes_right_behind_the_shutdown_are_its_end():
    scene = Scene().asleep(196).crank().running(200).shutdown().asleep(20).load(8, -0.028).asleep(7200)
    assert the_stand(scene.read(1.0), 1).wake_ups == []
