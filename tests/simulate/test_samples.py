"""The samples: determinism, independence of cuts, and agreement with the truth computed apart from them."""

from typing import Any

import numpy as np
import pytest

from monitor.base.samples import Block
from monitor.simulate import Simulation, run, simulate
from tests.simulate.conftest import Make

FLASH = {"amps": 0.012, "width": 0.03, "period": 1.0}
POLLING = {"amps": 0.06, "width": 0.004, "period": 0.2}


def whole(simulation: Simulation) -> Block:
    return next(simulation.blocks(10**9))


def test_the_same_seed_gives_the_same_samples_and_another_seed_others(make: Make) -> None:
    scenario = make(logger={"amps_noise": 0.001})
    one, same, other = (whole(run(scenario, seed=seed)) for seed in (1, 1, 2))
    assert np.array_equal(one.amps, same.amps)
    assert np.array_equal(one.volts, same.volts)
    assert not np.array_equal(one.amps, other.amps)


@pytest.mark.parametrize("size", [1, 7, 4096, 65536, 65537, 10**9])
def test_samples_do_not_depend_on_how_they_are_cut(make: Make, size: int) -> None:
    scenario = make(days=0.05 if size == 1 else 0.75, logger={"amps_noise": 0.001, "rate": 2.0})
    expected = whole(run(scenario))
    blocks, _ = simulate(scenario, block=size)
    parts = list(blocks)
    assert all(len(part) == size for part in parts[:-1])
    for name in ("t_us", "volts", "amps", "celsius"):
        assert np.array_equal(np.concatenate([getattr(part, name) for part in parts]), getattr(expected, name))


@pytest.mark.parametrize("rate", [0.2, 1.0, 10.0, 200.0])
def test_an_averaging_logger_counts_the_same_charge_at_any_rate(make: Make, rate: float) -> None:
    done = run(make(days=0.1, vehicle={"lamp_flash": FLASH, "polling": POLLING}, logger={"rate": rate}))
    block, stand = whole(done), done.truth.stands[0]
    inside = (block.t_us > stand.start) & (block.t_us <= stand.end)
    assert block.amps is not None
    counted_ah = -float(np.sum(block.amps[inside])) / rate / 3600
    # the truth takes flash and polling by their means, so a part of one pulse of each may differ
    assert counted_ah == pytest.approx(stand.charge_out_ah, abs=(0.012 * 0.03 + 0.06 * 0.004) / 3600 + 1e-9)


@pytest.mark.parametrize("averaging", [True, False])
def test_the_sleep_current_is_the_mean_of_the_samples_with_flash_and_polling(make: Make, averaging: bool) -> None:
    vehicle = {"sleep": 0.02, "lamp_flash": FLASH, "polling": POLLING}
    done = run(make(trips=[], days=0.4, vehicle=vehicle, logger={"averaging": averaging, "rate": 37.0}))
    block, stand = whole(done), done.truth.stands[0]
    assert block.amps is not None
    # the modules' clocks are off by up to 0.75 %, the pulses' part of the level with them
    assert stand.sleep_current_a == pytest.approx(0.02 + 0.012 * 0.03 + 0.06 * 0.004 / 0.2, rel=0.001)
    # of 1.3 million samples some 26,000 meet a polling pulse, 38,000 a flash
    assert -float(block.amps.mean()) == pytest.approx(stand.sleep_current_a, rel=0.002)


def test_an_instantaneous_logger_sees_the_flash_where_an_averaging_one_sees_a_level(make: Make) -> None:
    vehicle = {"sleep": 0.02, "lamp_flash": FLASH}
    for averaging, seen in ((False, 0.012), (True, 0.0)):
        block = whole(run(make(trips=[], vehicle=vehicle, logger={"averaging": averaging, "rate": 1.7})))
        assert block.amps is not None
        # averaged over 588 ms, one flash of 30 ms or none: 0.6 mA between the two
        assert np.ptp(block.amps[10:]) == pytest.approx(seen, abs=0.0007)


def test_after_settling_there_is_nothing_but_the_sleep_level(make: Make) -> None:
    done = run(make(logger={"rate": 5.0}))
    block, stand = whole(done), done.truth.stands[1]
    approach = done.approaches[1].start
    assert block.amps is not None
    assert stand.settled_at is not None
    before = block.amps[(block.t_us > stand.settled_at - 60_000_000) & (block.t_us < stand.settled_at)]
    after = block.amps[(block.t_us > stand.settled_at + 200_000) & (block.t_us < approach)]
    assert np.all(before < -0.15)
    assert np.allclose(after, -0.018, atol=1e-9)
    assert stand.time_to_sleep_s == pytest.approx((stand.settled_at - stand.start) / 1e6)


@pytest.mark.parametrize("shape", ["rectangular", "two_step", "decaying", "ramped"])
def test_a_wake_ups_charge_is_what_the_samples_show_above_the_level(make: Make, shape: str) -> None:
    wake = {"amps": 0.4, "duration": 40.0, "every": 900.0, "shape": shape}
    done = run(make(wake_ups=[wake], logger={"rate": 10.0}))
    block, stand = whole(done), done.truth.stands[1]
    assert len(stand.wake_ups) > 20
    assert block.amps is not None
    for found in stand.wake_ups:
        inside = (block.t_us > found.start) & (block.t_us <= found.end + 100_000)
        seen_ah = float(np.sum(-block.amps[inside] - 0.018)) / 10 / 3600
        assert seen_ah == pytest.approx(found.charge_ah, rel=1e-6)
        assert -float(block.amps[inside].min()) == pytest.approx(found.peak_a, rel=0.02)  # 100 ms of a slope are lost
        assert found.excess_a * (found.end - found.start) / 3.6e9 == pytest.approx(found.charge_ah)


def test_overlapping_wake_ups_are_one_excursion_without_a_single_group(make: Make) -> None:
    wakes = [
        {"amps": 0.2, "duration": 300.0, "at": [15 * 3600.0 - 30]},
        {"amps": 0.5, "duration": 60.0, "at": [15 * 3600.0]},
    ]
    found = run(make(trips=[], wake_ups=wakes)).truth.stands[0].wake_ups
    assert len(found) == 1
    assert found[0].group is None
    assert found[0].peak_a == pytest.approx(0.718, rel=0.08)  # both wander by a few per cent
    assert found[0].charge_ah == pytest.approx((0.2 * 300 + 0.5 * 60) / 3600, rel=0.1)


def test_the_truth_counts_samples_and_gaps(make: Make) -> None:
    logger = {"rate": 3.0, "gaps": [{"after": 7200.0, "duration": 1800.0}]}
    done = run(make(logger=logger))
    block = whole(done)
    start = done.plan.start
    assert len(block) == done.truth.log.samples == round(0.75 * 86400 * 3) - 1800 * 3
    assert not np.any((block.t_us >= start + 7200 * 10**6) & (block.t_us < start + 9000 * 10**6))
    assert done.truth.log.unobserved_s == 1800.0


def test_duplicates_appear_in_rows_only_and_blocks_always_increase(make: Make) -> None:
    done = run(make(logger={"duplicates": 0.01}))
    rows = np.concatenate([row.t_us for row in done.rows()])
    assert 300 < np.sum(np.diff(rows) == 0) == done.truth.log.duplicates < 1000  # 1 % of 64,800
    block = whole(done)
    assert np.all(np.diff(block.t_us) > 0)
    assert len(block) == done.truth.log.samples


def test_a_clock_step_moves_samples_and_truth_alike(make: Make) -> None:
    plain = run(make())
    stepped = run(make(logger={"clock_steps": [{"after": 3600.0, "by": 1800.0}]}))
    assert stepped.truth.drives[0].start - plain.truth.drives[0].start == 1800 * 10**6
    assert [step.seconds for step in stepped.truth.log.clock_steps] == [1800.0]
    assert np.max(np.diff(whole(stepped).t_us)) == 1801 * 10**6
    back = run(make(logger={"clock_steps": [{"after": 3600.0, "by": -600.0}]}))
    rows = np.concatenate([row.t_us for row in back.rows()])
    assert np.sum(np.diff(rows) < 0) == 1
    assert np.all(np.diff(whole(back).t_us) > 0)


def test_an_adaptive_logger_is_fast_while_the_engine_runs_and_slow_asleep(make: Make) -> None:
    fast = {"rate": 10.0, "above": 1.0, "step": 0.05, "hold": 5.0}
    done = run(make(logger={"rate": 0.1, "fast": fast}))
    block, drive, stand = whole(done), done.truth.drives[0], done.truth.stands[1]
    assert stand.settled_at is not None
    assert drive.end is not None
    running = block.t_us[(block.t_us > drive.start + 10**6) & (block.t_us < drive.end)]
    asleep = block.t_us[(block.t_us > stand.settled_at + 10 * 10**6) & (block.t_us < done.approaches[1].start)]
    assert np.all(np.diff(running) <= 100_000)
    assert np.all(np.diff(asleep) == 10_000_000)
    assert np.all(np.diff(block.t_us) > 0)
    assert len(block) == done.truth.log.samples


def test_a_logger_without_current_or_temperature_has_no_such_channel(make: Make) -> None:
    block = whole(run(make(logger={"channels": ["volts"]})))
    assert block.amps is None
    assert block.celsius is None
    assert np.all(np.isfinite(block.volts))


def test_readings_carry_resolution_noise_and_offset(make: Make) -> None:
    logger: dict[str, Any] = {"amps_resolution": 0.002, "amps_noise": 0.005, "zero_offset": -0.03}
    block = whole(run(make(trips=[], logger=logger)))
    assert block.amps is not None
    steps = block.amps / 0.002
    assert np.allclose(steps, np.round(steps), atol=1e-6)
    # mean of 64,800 readings of 5 mA noise: 0.02 mA
    assert float(block.amps.mean()) == pytest.approx(-0.018 - 0.03, abs=1e-4)
    assert float(block.amps.std()) == pytest.approx(0.005, rel=0.03)
