"""Starts and stops that are easily taken for others: behind glow plugs, and of engines that are not charged.

A start is placed within one sample, a stop within the 3 s compared on each side of a step; where no step is, within the
5 s that are asked, and one sample.
"""

import numpy as np
import pytest

from monitor.detect.facts import Facts
from tests.detect.scene import Scene, after_s, document


def parked():
    return Scene().asleep(900)


def wandering(scene, seconds, amps, wander=0.05):
    """Loads of a running engine on the battery: they wander by a share of themselves."""
    random = np.random.default_rng(11)
    for _ in range(int(seconds)):
        scene.load(1.0, -amps * (1.0 + wander * float(random.standard_normal())))
    return scene


def drives_of(block, facts=None):
    return [(after_s(d.start), after_s(d.end)) for d in document(block, facts).drives]


@pytest.mark.parametrize("hz", [1.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize("glow_a", [40.0, 75.0])
def test_a_crank_begins_where_the_starter_does_and_not_at_the_glow_plugs(hz, glow_a):
    """Glow plugs for 7 s run into a starter of 160 A: 300 ms between them are no pause."""
    scene = parked().load(7, -10.0 - glow_a).load(0.3, -10.0).crank(seconds=1.2, amps=160.0, key_on_s=0)
    block = scene.running(30, amps=20).running(600).shutdown().asleep(2400).read(hz)
    (drive,) = document(block).drives
    assert after_s(drive.crank.start) == pytest.approx(907.3, abs=0.3 + 1 / hz)
    assert after_s(drive.start) == pytest.approx(907.3, abs=0.3 + 1 / hz)


def test_glow_plugs_that_draw_as_a_starter_are_no_failed_start_when_a_stronger_one_follows_at_once():
    """75 A for 7 s, a sample without them, then the starter: at one sample a second each looks like a crank."""
    scene = parked().load(7, -75.0, volts=11.9).load(1, -11.0).load(1, -190.0, volts=11.0).load(1, -20.0)
    found = document(scene.running(600).shutdown().asleep(2400).read(1.0, averaging=False))
    (drive,) = found.drives
    assert after_s(drive.crank.start) == pytest.approx(908, abs=1.0)
    assert [stand.failed_starts for stand in found.stands] == [[], []]


def a_start(key_on_a, glow_a=0.0):
    scene = parked().load(8, -key_on_a - glow_a)
    return scene.crank(seconds=1.0, amps=150.0, key_on_s=0)


def test_an_engine_without_charge_that_draws_less_than_the_glow_plugs_did_is_a_drive():
    block = wandering(a_start(8.0, glow_a=70.0), 200, 16.0, wander=0.01).shutdown().asleep(2400).read(5.0)
    ((begin, end),) = drives_of(block)
    assert begin == pytest.approx(908, abs=0.5)
    assert end == pytest.approx(1109, abs=3.0)


def test_an_engine_without_charge_that_draws_no_more_than_the_key_did_is_a_drive_after_five_minutes():
    block = wandering(a_start(15.0), 900, 15.5, wander=0.005).shutdown().asleep(2400).read(2.0)
    assert drives_of(block) == [(pytest.approx(908, abs=1.0), pytest.approx(1809, abs=3.0))]


def test_a_key_that_was_on_for_two_samples_before_a_crank_that_none_met_is_a_start():
    """At one sample in 2 s; before the key, the driver's arrival draws 1.2 A."""
    scene = parked().load(111.5, -1.2).load(3.0, -4.9).load(0.8, -200.0)
    block = scene.running(600, amps=30).shutdown().asleep(2400).read(0.5, averaging=False)
    ((begin, end),) = drives_of(block)
    assert begin == pytest.approx(1015, abs=2.5)
    assert end == pytest.approx(1615, abs=4.0)


@pytest.mark.parametrize("left_s", [30, 200])
def test_a_key_that_is_left_on_for_less_after_a_failed_start_is_no_drive(left_s):
    found = document(a_start(15.0).load(left_s, -15.0).shutdown().asleep(2400).read(2.0))
    assert found.drives == []
    assert [len(stand.failed_starts) for stand in found.stands] == [1]


def test_a_second_attempt_with_the_key_left_on_starts_the_drive():
    scene = a_start(15.0).load(90, -15.0).crank(seconds=1.0, amps=150.0, key_on_s=0)
    found = document(scene.running(600).shutdown().asleep(2400).read(2.0))
    assert [after_s(drive.start) for drive in found.drives] == [pytest.approx(999, abs=1.0)]
    assert [len(stand.failed_starts) for stand in found.stands] == [1, 0]


def test_what_a_small_vehicle_draws_without_charge_is_small():
    """14 Ah: 3.5 A behind the crank are its ignition and its lamps."""
    scene = parked().load(4, -0.7).load(1.0, -60.0, volts=11.4)
    block = wandering(scene, 200, 3.5, wander=0.01).load(30, -0.2).asleep(2400).read(1.0)
    assert drives_of(block, Facts(capacity_ah=14.0)) == [(pytest.approx(904, abs=1.0), pytest.approx(1105, abs=3.0))]


def test_a_blower_that_is_turned_off_is_no_stop_of_an_engine_without_charge():
    block = wandering(wandering(a_start(8.0), 400, 36.0), 300, 19.0).shutdown().asleep(2400).read(2.0)
    assert drives_of(block) == [(pytest.approx(908, abs=1.0), pytest.approx(1609, abs=3.0))]


def test_lamps_that_are_left_on_are_no_engine_that_runs_on():
    """They come on 45 s after the stop, at 10 A, as 20 min have passed since the crank."""
    scene = wandering(a_start(8.0), 1100, 20.0).load(45, -3.5).load(90, -10.0)
    assert drives_of(scene.load(60, -2.0).asleep(2400).read(10.0)) == [
        (pytest.approx(908, abs=0.5), pytest.approx(2009, abs=3.0))
    ]


def test_a_stop_that_changes_no_load_shows_by_the_current_that_wanders_no_more():
    """An engine-managed alternator leaves some 3 A to the battery; so do the first minutes of the shutdown."""
    random, scene = np.random.default_rng(3), parked().crank().running(120, amps=20)
    level = 0.0
    for _ in range(400):
        level = 0.6 * level + float(random.normal(0.0, 0.7))
        scene.load(1.0, -3.0 + level, volts=12.8)
    stop_s = scene.now_s
    block = scene.load(300, -3.0, volts=12.78).load(300, -0.8).asleep(3000).read(1.0)
    ((_, end),) = drives_of(block)
    assert end == pytest.approx(stop_s, abs=6.0)


def test_a_stop_lost_in_a_hunting_regulators_swings_is_not_put_off_to_the_lamps():
    random, scene = np.random.default_rng(4), parked().crank()
    for _ in range(200):
        scene.load(3.0, float(random.choice([-1, 1]) * random.uniform(10, 50)), volts=float(random.uniform(13.4, 15.2)))
    stop_s = scene.now_s
    block = scene.load(40, -3.7, volts=13.4).load(80, -9.6, volts=13.2).load(300, -2.0).asleep(3000).read(1.0)
    ((_, end),) = drives_of(block)
    assert end == pytest.approx(stop_s, abs=4.0)


@pytest.mark.parametrize("away_s", [480, 900])
@pytest.mark.parametrize("late_s", [0.5, 3.5])
def test_a_warm_start_after_a_short_stand_is_one_though_it_may_be_some_other_load(away_s, late_s):
    """124 A that leave the battery at 12.42 V, and 35 A until the alternator begins: parked before, running after."""
    scene = Scene(12.8).asleep(900).crank().running(1200).load(12, -6.0).load(50, -2.5).asleep(away_s, 0.05)
    scene.load(24, -2.0).load(3, -10.0).load(0.9, -124.0, volts=12.42).load(late_s, -35.0, volts=12.7)
    block = scene.running(900, 30.0).shutdown().asleep(3600).read(1.0)
    first, second = document(block).drives
    start_s = 900 + 4 + 0.8 + 1200 + 62 + away_s + 27
    assert second.crank is not None
    assert after_s(second.start) == pytest.approx(start_s, abs=1.0)
    assert after_s(first.end) == pytest.approx(900 + 4 + 0.8 + 1200, abs=3.0)


def test_who_tries_to_start_the_engine_and_gives_up_is_no_module_that_woke():
    scene = parked().load(20, -6.0).crank(seconds=2.0, key_on_s=0).load(15, -6.0).asleep(3600)
    (stand,) = document(scene.read(1.0)).stands
    assert len(stand.failed_starts) == 1
    assert stand.wake_ups == []


def test_a_small_vehicles_start_that_a_slow_logger_misses_shows_by_volts_held_at_little_charge():
    """6 V, 15 Ah: from 0.4 A with the key on to 7.04 V at an ampere, and soon at none."""
    random = np.random.default_rng(2)
    scene = Scene(6.33).asleep(900, 0.003).load(121.5, -0.4).load(1.5, -40.0).load(5, 1.2, volts=7.0)
    for _ in range(300):
        scene.load(3, float(random.uniform(-0.9, 0.4)), volts=7.04)
    block = scene.load(60, -1.1).load(45, -2.4).load(100, -0.3).asleep(3600, 0.003).read(0.2, averaging=False)
    ((start_s, end_s),) = drives_of(block, Facts(nominal_v=6.0, capacity_ah=15.0))
    assert start_s == pytest.approx(1021.5, abs=10)
    assert end_s == pytest.approx(1928, abs=10)
