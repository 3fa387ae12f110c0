"""Stands and drives: where the engine starts and stops, and what is neither."""

import numpy as np
import pytest

from monitor.base.samples import Block, Seconds
from monitor.detect.facts import Facts
from monitor.detect.stopping import find_stop
from tests.detect.scene import T0, Scene, after_s, document


def drives_of(block, facts=None):
    """Begin and end of each drive, s; the end is None while it is open."""
    found = document(block, facts)
    return [(after_s(d.start), None if d.end is None else after_s(d.end)) for d in found.drives]


def parked():
    return Scene().asleep(900)


def a_drive(scene, seconds=600.0):
    return scene.crank().running(30, amps=20).running(seconds - 30)


@pytest.mark.parametrize("hz", [0.2, 1.0, 10.0])
def test_a_drive_runs_from_the_crank_to_the_engine_stop(hz):
    block = a_drive(parked()).shutdown().asleep(2400).read(hz, noise_a=0.01)
    ((begin, end),) = drives_of(block)
    # the crank begins at 904 s, the engine stops at 1504.8 s; a slow logger places both within one interval
    assert begin == pytest.approx(904, abs=max(1.0, 1.2 / hz))
    assert end == pytest.approx(1504.8, abs=max(2.0, 2 / hz))


@pytest.mark.parametrize("hz", [1 / 3, 1 / 10, 1 / 30, 1 / 60])
def test_a_slow_logger_that_misses_the_crank_still_sees_the_drive(hz):
    block = a_drive(parked(), 1800).shutdown().asleep(3600).read(hz, averaging=False)
    ((begin, end),) = drives_of(block)
    assert begin == pytest.approx(904, abs=2 / hz)
    assert end == pytest.approx(904.8 + 1800, abs=3 / hz)


def test_a_small_vehicle_without_a_crank_in_sight_is_started_out_of_a_small_load():
    """6 V, 14 Ah: 0.7 A with the key on, 3 A of charge behind the start that no sample meets."""
    volts = np.concatenate([np.full(450, 6.39), [6.38, 6.38, 6.35, 6.46, 6.82], np.full(600, 6.92)])
    amps = np.concatenate([np.full(448, -0.003), [-0.71, -0.7, -0.7, -0.7, -4.9, 3.2, 5.8], np.full(600, 2.5)])
    ((begin, _),) = drives_of(Block(T0 + 2_000_000 * np.arange(len(volts)), volts, amps), Facts(6.0, "agm", 14.0))
    assert begin == pytest.approx(906, abs=4)


def test_a_push_start_is_a_drive_without_a_crank():
    block = parked().load(20, -5.0).running(600, amps=15).shutdown().asleep(1800).read(1.0)
    found = document(block)
    (drive,) = found.drives
    assert drive.crank is None
    assert drive.charging.delay_s is None
    assert after_s(drive.start) == pytest.approx(920, abs=1)
    assert [s.failed_starts for s in found.stands] == [[], []]


def test_a_charger_while_parked_is_a_charge_within_the_stand():
    scene = parked()
    for step in range(60):  # a charger's volts rise over minutes
        scene.load(10, 8.0 - 0.05 * step, volts=12.9 + 1.5 * step / 60)
    block = scene.load(3600, 3.0, volts=14.4).asleep(1800).read(1.0)
    found = document(block)
    assert found.drives == []
    (stand,) = found.stands
    (charge,) = stand.charges
    assert after_s(charge.start) == pytest.approx(900, abs=2)
    assert after_s(charge.end) == pytest.approx(900 + 600 + 3600, abs=2)
    assert stand.charge_in_ah == pytest.approx((600 * 6.5 + 3600 * 3.0) / 3600, rel=0.02)


def test_a_charger_that_switches_on_at_once_is_no_drive_either():
    """The volts jump from rest, but no key-on load was on the battery before."""
    found = document(parked().load(3600, 5.0, volts=14.4).asleep(1800).read(1.0))
    assert found.drives == []
    assert len(found.stands[0].charges) == 1


def test_a_jump_pack_before_the_crank_does_not_begin_the_drive():
    block = parked().load(120, 4.0, volts=13.4).crank().running(300).read(10.0, noise_a=0.01)
    ((begin, _),) = drives_of(block)
    assert begin == pytest.approx(1024, abs=0.5)


@pytest.mark.parametrize("hz", [1.0, 10.0])
def test_a_stop_start_stop_lies_inside_the_drive(hz):
    scene = a_drive(parked(), 300).load(45, -14.0).crank(0.5, amps=120, inrush=300, key_on_s=0).running(300)
    found = document(scene.shutdown().asleep(1800).read(hz, noise_a=0.02))
    (drive,) = found.drives
    (stop,) = drive.stops
    assert after_s(stop.start) == pytest.approx(1204.8, abs=2)
    assert after_s(stop.end) == pytest.approx(1249.8, abs=2)
    assert len(found.stands) == 2


@pytest.mark.parametrize("hz", [1.0, 10.0])
def test_stopped_and_restarted_within_twenty_seconds_is_one_drive(hz):
    scene = a_drive(parked(), 300).load(8, -6.0).load(8, -2.5).crank(key_on_s=4).running(300)
    found = document(scene.shutdown().asleep(1800).read(hz, noise_a=0.02))
    assert len(found.drives) == 1
    assert len(found.drives[0].stops) == 1


def glow(scene):
    """Glow plugs for seven seconds: 90 A that fall to 60 A."""
    for amps in (90, 78, 71, 67, 64, 62, 60):
        scene.load(1, -amps)
    return scene


@pytest.mark.parametrize("averaging", [True, False])
def test_a_slow_crank_behind_glow_plugs_begins_the_drive(averaging):
    """At one sample a second neither has an inrush; the starter goes on as it began, glow plugs do not."""
    scene = glow(parked().load(8, -5.0)).load(6, -12.0).load(4, -190.0).load(3, -32.0).running(600)
    block = scene.shutdown().asleep(1800).read(1.0, averaging=averaging, noise_a=0.15)
    ((begin, _),) = drives_of(block)
    assert begin == pytest.approx(921, abs=1)
    assert document(block).drives[0].crank.amps_peak == pytest.approx(-190, abs=1)


def test_a_starter_is_no_load_of_an_engine_that_the_glow_plugs_before_it_did_not_start():
    """As a simulated logger of one averaged sample a second read a diesel: key-on, glow plugs, key-on, starter."""
    glow = [(-24.8, 12.2), (-108.2, 11.64), (-90.3, 11.74), (-81.3, 11.78), (-76.7, 11.79), (-20.8, 12.14)]
    key_on = [(-8.73, 12.22), (-8.61, 12.23), (-8.73, 12.22), (-8.6, 12.22)]
    start = [(-150.2, 11.31), (-197.1, 10.96), (-45.8, 11.91), (-45.7, 11.91), (54.0, 12.73), (74.3, 13.33)]
    amps, volts = np.array([(-3.5, 12.33)] * 900 + glow + key_on + start + [(6.0, 14.3)] * 600).T
    ((begin, _),) = drives_of(Block(T0 + 1_000_000 * np.arange(len(amps)), volts, amps))
    assert begin == pytest.approx(910, abs=1)


def test_glow_plugs_before_a_crank_that_no_sample_meets_are_no_crank():
    scene = glow(parked().load(8, -1.5)).load(7, -4.5).load(0.2, -4.5).load(0.6, -150.0).load(3, -22.0).running(600)
    block = scene.shutdown().asleep(1800).read(1.0, averaging=False)
    ((begin, _),) = drives_of(block)
    assert begin == pytest.approx(922, abs=2)
    found = document(block)
    assert found.drives[0].crank is None
    assert found.stands[0].failed_starts == []


def test_glow_plugs_with_more_left_on_behind_them_than_before_are_no_crank_either():
    scene = glow(parked().load(8, -3.0)).load(8, -6.0).load(0.2, -6.0).load(0.6, -150.0).running(600)
    block = scene.shutdown().asleep(1800).read(1.0, averaging=False)
    ((begin, _),) = drives_of(block)
    assert begin == pytest.approx(923, abs=2)
    assert document(block).drives[0].crank is None


def test_a_start_that_failed_before_a_crank_that_no_sample_meets_is_told_as_such():
    scene = parked().load(4, -8.5).load(3, -150.0).load(7.2, -8.5).load(0.6, -150.0).load(2.4, -22.0).running(600)
    found = document(scene.shutdown().asleep(1800).read(1.0, averaging=False))
    (drive,) = found.drives
    assert after_s(drive.start) == pytest.approx(914, abs=2)
    assert drive.crank is None
    assert len(found.stands[0].failed_starts) == 1


def test_a_late_alternator_behind_a_crank_that_was_seen_does_not_move_the_start():
    scene = parked().crank(seconds=1.0, key_on_s=4).load(8, -16.0).load(3, -32.0).running(600)
    block = scene.shutdown().asleep(1800).read(10.0, noise_a=0.01)
    ((begin, _),) = drives_of(block)
    assert begin == pytest.approx(904, abs=1)


def held_back(volts, amps):
    amps, none, zeros = np.asarray(amps), np.full(len(amps), np.nan), np.zeros(len(amps), np.int64)
    return Seconds(
        np.arange(len(amps)), zeros + 1, volts, volts, volts, amps, amps, amps, none, zeros, zeros, zeros, zeros
    )


def test_the_loads_of_a_small_vehicle_make_a_small_step():
    """6 V, 8 Ah: a full battery takes a quarter of an ampere, and then gives less than one."""
    held = held_back(np.repeat([7.14, 6.66], 60), np.repeat([0.24, -0.84], 60))
    assert find_stop(held[:0], held, 48, True, Facts(nominal_v=6.0, capacity_ah=8.0)).row == 60


def test_a_step_that_the_swings_before_it_hide_is_the_stop_all_the_same():
    amps = [33.6, -40.4, -17.4, 34.3, -53.3, 33.6, -40.4, -53.3, 33.6, *[-7.5] * 42, *[-10.6] * 30]
    held = held_back(np.concatenate([np.full(9, 13.9), np.linspace(13.8, 12.9, 72)]), amps)
    assert find_stop(held[:0], held, 9, True, Facts()).row == 9


@pytest.mark.parametrize("left_on_a", [0.4, 1.3, 2.5])
def test_a_stop_with_something_left_on_is_two_drives_though_a_slow_logger_misses_the_crank(left_on_a):
    stop = a_drive(parked(), 900).load(120, -9.0).load(400, -left_on_a).load(20, -6.0)
    begin, end = drives_of(stop.running(900, amps=9).load(120, -9.0).asleep(3600).read(0.2))
    assert begin[1] == pytest.approx(904.8 + 900, abs=15)
    assert end[0] == pytest.approx(904.8 + 900 + 540, abs=15)


def test_stopped_for_ten_minutes_is_two_drives():
    block = a_drive(parked(), 300).shutdown().asleep(60).crank().running(300).read(1.0)
    assert len(drives_of(block)) == 2


@pytest.mark.parametrize("hz", [1.0, 10.0])
def test_a_managed_alternator_is_no_stop(hz):
    """Ten minutes at 12.75 V with the battery current about zero, then overrun at 15 V."""
    scene = a_drive(parked(), 200).managed(600).running(20, amps=40, volts=15.0).managed(300).running(60)
    found = document(scene.shutdown().asleep(1800).read(hz, noise_a=0.05))
    assert len(found.drives) == 1
    assert found.drives[0].stops == []


def test_a_drive_that_ends_in_a_managed_stretch_ends_where_the_loads_fall_on_the_battery():
    scene = a_drive(parked(), 200).managed(300)
    end = scene.now_s
    ((_, told),) = drives_of(scene.shutdown().asleep(2400).read(1.0, noise_a=0.01))
    assert told == pytest.approx(end, abs=3)


def test_a_log_that_begins_while_driving_has_an_open_beginning():
    block = a_drive(parked(), 600).shutdown().asleep(1800).read(1.0, from_s=1100)
    found = document(block)
    (drive,) = found.drives
    assert drive.crank is None
    assert after_s(drive.start) == 1100
    assert after_s(drive.end) == pytest.approx(1504.8, abs=2)
    assert len(found.stands) == 1


def test_a_log_that_ends_while_driving_leaves_the_drive_open():
    block = a_drive(parked(), 600).read(1.0)
    (drive,) = document(block).drives
    assert drive.open
    assert drive.end is None


@pytest.mark.parametrize("rest_s", [200, 600, 3000])
def test_a_log_that_ends_some_minutes_after_key_off_has_a_stand(rest_s):
    scene = a_drive(parked(), 600).load(12, -6.0).load(50, -2.5).load(rest_s, -0.7)
    found = document(scene.read(1.0, noise_a=0.01))
    (drive,) = found.drives
    assert not drive.open
    assert after_s(drive.end) == pytest.approx(1504.8, abs=2)
    assert found.stands[-1].open


def test_an_engine_that_does_not_charge_runs_all_the_same():
    """Its loads stay on the battery: a drive, whose stop is the fall of the loads."""
    scene = parked().crank().load(900, -16.0)
    end = scene.now_s
    found = document(scene.shutdown().asleep(2400).read(1.0, noise_a=0.05))
    (drive,) = found.drives
    assert drive.crank is not None
    assert after_s(drive.end) == pytest.approx(end, abs=3)


def test_key_on_without_a_start_is_a_stand():
    found = document(parked().load(120, -7.0).asleep(1800).read(1.0))
    assert found.drives == []
    assert len(found.stands) == 1


def test_surface_charge_behind_a_drive_is_no_running_engine():
    """The volts stay above 13 V for minutes after key-off while they fall."""
    scene = a_drive(parked(), 600)
    end = scene.now_s
    for step in range(120):
        scene.load(5, -1.0, volts=13.3 - 0.6 * step / 120)
    ((_, told),) = drives_of(scene.asleep(3600).read(1.0, noise_a=0.01))
    assert told == pytest.approx(end, abs=3)


def test_stands_and_drives_follow_one_another_without_holes():
    scene = parked()
    for _ in range(3):
        a_drive(scene, 400).shutdown().asleep(900)
    found = document(scene.read(1.0, noise_a=0.01))
    spans = sorted((x.start, x.end) for x in (*found.stands, *found.drives))
    assert [a[1] for a in spans[:-1]] == [b[0] for b in spans[1:]]
    assert spans[-1][1] is None
    assert len(found.drives) == 3


def test_with_volts_alone_a_day_is_cut_the_same_way():
    scene = a_drive(parked(), 600).shutdown().asleep(3600)
    a_drive(scene, 600).shutdown().asleep(3600)
    block = scene.read(1.0)
    told = drives_of(Block(block.t_us, block.volts))
    assert len(told) == 2
    for got, wanted in zip(told, drives_of(block), strict=True):
        assert np.array(got) == pytest.approx(np.array(wanted), abs=5)


def on_the_battery(scene, seconds, amps, wander_a=0.4, seed=3):
    """Loads of an engine that runs without charge: they wander."""
    random = np.random.default_rng(seed)
    for _ in range(int(seconds)):
        scene.load(1.0, -amps + wander_a * float(random.standard_normal()))
    return scene


def a_weak_crank():
    """A warm restart of half a second on a strong battery: one second of 90 A that hardly moves the volts."""
    return parked().load(4, -4.0).load(1, -90.0, volts=12.4)


def test_a_weak_crank_before_wandering_loads_is_a_drive_without_charge():
    block = on_the_battery(a_weak_crank(), 600, 16.0).shutdown().asleep(2400).read(1.0)
    ((begin, end),) = drives_of(block)
    assert begin == pytest.approx(904, abs=2.0)
    assert end == pytest.approx(1505, abs=3.0)


def test_a_burst_of_load_before_lamps_that_stay_on_is_no_drive():
    assert drives_of(a_weak_crank().load(600, -16.0).shutdown().asleep(2400).read(1.0)) == []


def test_a_regulator_that_hardly_charges_is_a_drive_all_the_same():
    scene = on_the_battery(parked().crank(key_on_s=4), 90, 6.5, wander_a=1.0)
    scene = on_the_battery(scene, 510, 0.0, wander_a=1.5)
    ((begin, end),) = drives_of(scene.shutdown().asleep(2400).read(1.0))
    assert begin == pytest.approx(904, abs=2.0)
    assert end == pytest.approx(1504.8, abs=3.0)


def test_key_on_loads_that_turn_into_restless_charge_are_a_start_whose_crank_was_not_seen():
    scene = parked().load(4, -4.4)
    random = np.random.default_rng(5)
    for _ in range(600):
        amps = float(random.uniform(-6, 6))
        scene.load(1.0, amps, volts=12.64 + amps * 0.003)
    ((begin, end),) = drives_of(scene.shutdown().asleep(2400).read(1.0))
    assert begin == pytest.approx(904, abs=6.0)
    assert end == pytest.approx(1504, abs=8.0)
