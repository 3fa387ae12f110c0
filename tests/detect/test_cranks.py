"""Cranks: found at any rate, measured as far as the rate carries it, told apart from other heavy loads."""

import numpy as np
import pytest

from monitor.base.samples import SECOND_US, Block
from monitor.detect.crank_current import ripple_hz
from monitor.detect.cranks import CrankDetector
from monitor.detect.facts import Facts
from monitor.detect.seconds import Binner
from tests.detect.scene import OHM, T0, Scene, after_s, document


def found_in(block, facts=None):
    binner, detector = Binner(), CrankDetector(facts or Facts())
    found = []
    for binned in (binner.update(block), binner.flush()):
        found += detector.update(binned.samples, binned.seconds)[0]
    return [*found, *detector.flush()]


def start(hz, seconds=0.8, **how):
    scene = Scene().asleep(60).crank(seconds).running(90)
    return scene.read(hz, noise_a=0.02, **how)


CRANK_AT = 64.0  # behind a minute asleep and four seconds of key-on


@pytest.mark.parametrize("hz", [1.0, 2.0, 10.0, 50.0, 200.0])
def test_a_start_is_one_crank_at_any_rate(hz):
    (found,) = found_in(start(hz))
    assert found.sure
    assert after_s(found.start_us) == pytest.approx(CRANK_AT, abs=max(1 / hz, 0.01))


@pytest.mark.parametrize("hz", [1.0, 10.0, 50.0, 200.0])
def test_the_volts_before_are_those_of_the_key_on_vehicle(hz):
    (found,) = found_in(start(hz))
    # key-on load of 6 A on twice the battery's resistance; four seconds of key-on hold the last second of any rate
    assert found.crank.volts_before == pytest.approx(12.62 - 2 * OHM * 6.0, abs=0.01)


@pytest.mark.parametrize("hz", [50.0, 200.0])
def test_duration_and_plateau_are_right_within_two_samples(hz):
    (found,) = found_in(start(hz, seconds=1.2))
    assert found.crank.duration_s == pytest.approx(1.2, abs=2 / hz)
    assert found.crank.amps_plateau == pytest.approx(-150.0, rel=0.01)
    assert found.crank.amps_peak < -300


@pytest.mark.parametrize("hz", [10.0, 50.0, 200.0])
def test_the_resistance_is_that_of_the_circuit(hz):
    (found,) = found_in(start(hz))
    # volts fall by twice OHM a volt per ampere in this scene; noise of 1 mV over a fall of 1.7 V
    assert found.crank.resistance_mohm == pytest.approx(2 * OHM * 1000, rel=0.02)


@pytest.mark.parametrize(
    ("amps", "sure"),
    [
        ((-196, -179, -174, -175, -141), True),  # a weak battery, petrol: as a simulated logger without inrush read it
        ((-186, -166, -160, -95), True),
        ((-88, -77, -70, -66), False),
        ((-589, -576, -555, -555, -307), True),
        ((-196, -165, -148, -137, -130), False),  # glow plugs of a large engine
    ],
)
def test_at_one_sample_a_second_a_starter_goes_on_as_it_began_and_glow_plugs_do_not(amps, sure):
    scene = Scene().asleep(60).load(6, -8.0)
    for value in amps:
        scene.load(1, value)
    (found,) = found_in(scene.load(2, -30.0).running(60).read(1.0))
    assert found.sure is sure


def test_a_slow_logger_gives_no_resistance_and_no_duration():
    block = start(1 / 3, averaging=False)
    a = block.amps.copy()
    a[21] = -150.0  # the one sample that caught the starter
    v = block.volts.copy()
    v[21] = 10.8
    (found,) = found_in(Block(block.t_us, v, a))
    assert found.crank.resistance_mohm is None
    assert found.crank.duration_s is None
    assert found.crank.amps_plateau is None
    assert found.crank.engine_rpm is None
    assert found.crank.amps_peak == pytest.approx(-150.0, abs=1.0)


def test_the_compression_ripple_gives_the_engine_speed():
    block = start(100.0, seconds=1.5)
    turning = block.amps < -100
    t = (block.t_us - T0) / SECOND_US
    block = Block(block.t_us, block.volts, block.amps + np.where(turning, 25 * np.sin(2 * np.pi * 7.0 * t), 0))
    (found,) = found_in(block, Facts(cylinders=4))
    assert found.crank.ripple_hz == pytest.approx(7.0, abs=0.2)
    # four-stroke: each cylinder fires every other turn, so f = rpm / 60 × cylinders / 2
    assert found.crank.engine_rpm == pytest.approx(7.0 * 60 * 2 / 4, abs=6)


def test_six_cylinders_with_the_same_ripple_turn_more_slowly():
    t = np.arange(150) / 100.0
    assert ripple_hz(-150 + 20 * np.sin(2 * np.pi * 9.0 * t), 100.0) == pytest.approx(9.0, abs=0.1)
    block = start(100.0, seconds=1.5)
    at = (block.t_us - T0) / SECOND_US
    amps = block.amps + np.where(block.amps < -100, 25 * np.sin(2 * np.pi * 9.0 * at), 0)
    rpm = [found_in(Block(block.t_us, block.volts, amps), Facts(cylinders=n))[0].crank.engine_rpm for n in (4, 6)]
    assert rpm[0] == pytest.approx(rpm[1] * 1.5)


def test_ten_hertz_carry_no_engine_speed():
    (found,) = found_in(start(10.0))
    assert found.crank.ripple_hz is None
    assert found.crank.engine_rpm is None


def test_a_second_attempt_starts_the_drive():
    block = Scene().asleep(300).crank(2.0).load(8, -5.0).crank(1.0, key_on_s=0).running(120).read(10.0)
    found = document(block)
    assert [len(s.failed_starts) for s in found.stands] == [1]
    assert len(found.drives) == 1
    assert after_s(found.drives[0].start) == pytest.approx(314, abs=0.2)


def test_glow_plugs_before_a_crank_are_not_the_crank():
    scene = Scene().asleep(300).load(2, -5.0).load(6, -95.0, -60.0).load(1, -8.0)
    block = scene.crank(1.0, amps=200, inrush=520, key_on_s=0).running(120).read(10.0)
    (drive,) = document(block).drives
    assert after_s(drive.start) == pytest.approx(309, abs=0.3)
    assert drive.crank.duration_s == pytest.approx(1.0, abs=0.2)


def test_a_warm_restart_of_half_a_second_is_seen_at_one_hertz():
    block = Scene().asleep(120).crank(0.4, amps=110, inrush=300).running(120).read(1.0)
    assert len(document(block).drives) == 1


def test_with_volts_alone_a_start_is_a_dip_that_recovers():
    for hz in (1.0, 10.0, 50.0):
        found = found_in(start(hz, seconds=1.5, amps=False))
        assert len(found) == 1
        assert found[0].crank.amps_peak is None
        assert found[0].crank.resistance_mohm is None
        assert found[0].crank.volts_min < 11.5


def test_with_volts_alone_a_lasting_fall_is_no_crank():
    t = T0 + np.arange(600) * SECOND_US
    volts = np.where(np.arange(600) < 300, 12.6, 11.6)
    assert found_in(Block(t, volts)) == []


@pytest.mark.parametrize("load_a", [20.0, 35.0])
def test_no_other_load_of_a_car_is_a_crank(load_a):
    found = document(Scene().asleep(120).load(2, -load_a).asleep(120).read(10.0))
    assert found.drives == []
    assert [s.failed_starts for s in found.stands] == [[]]


def test_a_small_battery_has_a_small_starter():
    """A motorcycle of 8 Ah: a starter of 40 A."""
    block = Scene().asleep(60).crank(0.8, amps=40, inrush=110, key_on_s=2).running(60).read(10.0)
    (found,) = found_in(block, Facts(capacity_ah=8.0))
    assert after_s(found.start_us) == pytest.approx(62, abs=0.2)


def test_a_heavy_load_of_a_minute_is_no_starter():
    block = Scene().asleep(60).load(60, -120.0).asleep(60).read(1.0)
    assert found_in(block) == []


def test_a_crank_before_loads_as_heavy_as_a_crank_is_one():
    block = Scene().asleep(60).crank(1.0).load(600, -45.0).asleep(60).read(1.0)
    assert len(found_in(block)) == 1


def test_twenty_four_volts_scale_the_thresholds():
    block = start(10.0)
    (found,) = found_in(Block(block.t_us, 2 * block.volts, block.amps), Facts(nominal_v=24.0))
    assert found.sure
    alone = Block(block.t_us, 2 * block.volts)
    assert len(found_in(alone, Facts(nominal_v=24.0))) == 1


def test_a_crank_at_the_very_beginning_has_no_volts_before():
    block = start(10.0)[int(CRANK_AT * 10) :]
    (found,) = found_in(block)
    assert found.crank.volts_before is None
    assert found.crank.resistance_mohm is None


def test_on_a_slow_logger_one_odd_sample_is_not_the_volts_before():
    block = start(0.2, averaging=False)
    a, v = block.amps.copy(), block.volts.copy()
    a[13], v[13], v[12] = -150.0, 10.8, 12.2  # the sample that caught the starter; another load just before
    (found,) = found_in(Block(block.t_us, v, a))
    assert found.crank.volts_before == pytest.approx(12.62, abs=0.01)


def test_noise_alone_has_no_ripple():
    told = [ripple_hz(-150 + np.random.default_rng(seed).normal(0, 2, 100), 100.0) for seed in range(40)]
    assert sum(f is not None for f in told) <= 2  # at 1 % of false lines each, three or more of 40 are one case in 130


def test_a_failed_start_is_told_inside_the_stand():
    for hz in (1.0, 10.0, 50.0):
        block = Scene().asleep(300).crank(2.0).load(20, -5.0).asleep(600).read(hz)
        found = document(block)
        assert found.drives == []
        (stand,) = found.stands
        assert len(stand.failed_starts) == 1
        assert after_s(stand.failed_starts[0].start) == pytest.approx(304, abs=1)


def test_glow_plugs_are_no_start():
    """They draw as much as a weak starter, for seconds, dying away smoothly, and the volts fall less."""
    for hz in (1.0, 10.0, 50.0):
        scene = Scene().asleep(300).load(2, -5.0).load(6, -95.0, -60.0).load(3, -8.0)
        only = document(scene.asleep(600).read(hz))
        assert only.drives == []
        assert [s.failed_starts for s in only.stands] == [[]]


def test_a_starter_that_turns_through_samples_of_a_ten_second_logger_is_told_once():
    scene = Scene().asleep(600).load(25, -160.0).load(600, -0.5)
    found = found_in(scene.read(0.1, averaging=False))
    assert len(found) <= 1


@pytest.mark.parametrize("pause_s", [0.0, 1.0])
@pytest.mark.parametrize("glow_a", [0.0, 90.0])
@pytest.mark.parametrize("hz", [1.0, 2.0, 10.0])
def test_glow_plugs_before_a_crank_leave_its_resistance_alone(hz, glow_a, pause_s):
    """Volts and amps before it are those of one state, whether glow plugs run into the starter or end before it."""
    scene = Scene().asleep(60).load(8, -6.0 - glow_a).load(pause_s, -6.0).crank(2.5, key_on_s=0).running(90)
    (found,) = [each for each in found_in(scene.read(hz, noise_a=0.02)) if each.crank.amps_peak < -120]
    # a straight circuit: noise of 1 mV over a fall of 1.7 V, as above
    assert found.crank.resistance_mohm == pytest.approx(2 * OHM * 1000, rel=0.02)


def test_loads_that_go_on_behind_a_crank_are_no_second_one():
    """52 A until the alternator takes over, then 72: a step of what is on, and no starter."""
    scene = Scene().asleep(60).crank(5, amps=250).load(2, -52.0).load(2, -72.0).running(90)
    (found,) = found_in(scene.read(1.0, averaging=False))
    assert after_s(found.start_us) == pytest.approx(CRANK_AT, abs=1.0)


@pytest.mark.parametrize("averaging", [True, False])
@pytest.mark.parametrize("length_s", [1.2, 1.6, 2.2, 3.3])
def test_cut_into_seconds_a_cranks_charge_tells_its_length_in_the_mean(averaging, length_s):
    # 24 starts a 24th of a second later each: what one is off, by up to a second, all of them together are not
    lengths = []
    for step in range(24):
        fine = Scene().asleep(60 + step / 24).crank(length_s).running(90).read(96.0, noise_a=0.02)
        rows = len(fine.t_us) // 96 * 96
        cut = [
            column[:rows].reshape(-1, 96).mean(axis=1) if averaging else column[:rows:96]
            for column in (fine.volts, fine.amps)
        ]
        (found,) = found_in(Block(fine.t_us[:rows:96], cut[0], cut[1]))
        lengths.append(found.crank.turned_s)
    assert np.mean(lengths) == pytest.approx(
        length_s, abs=0.25
    )  # inrush averaged into a second lifts the level by up to 8 %


@pytest.mark.parametrize("hz", [10.0, 50.0])
def test_the_loads_of_the_engine_that_then_runs_are_no_part_of_the_crank(hz):
    # 45 A on the battery for four seconds until it is charged: over 0.18 of the inrush, below half of what then flows
    scene = Scene().asleep(60).crank(1.3).load(4, -45.0).running(90)
    (found, *_) = found_in(scene.read(hz, noise_a=0.02))
    assert found.crank.duration_s == pytest.approx(1.3, abs=2 / hz)
