"""The optimised detectors agree with plain loops of their textbook definitions."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.results import Log as LogPart
from monitor.base.samples import SECOND_US, Block, Seconds
from monitor.detect.crank_current import ripple_hz
from monitor.detect.cranks import CrankDetector
from monitor.detect.facts import Facts
from monitor.detect.overview import Overview
from monitor.detect.plateaus import Excursion, PlateauTracker
from monitor.detect.rows import Rows
from monitor.detect.sign import SignCheck
from monitor.detect.sleep import asleep
from monitor.detect.texture import Texture
from monitor.detect.wakeups import wake_up
from tests.laws.logs import T0, Life, at_the_crank, busy, interleaved, random_log, seconds_of, with_holes
from tests.laws.slow import (
    slow_excess_as,
    slow_power,
    slow_rate_hz,
    slow_seconds,
    slow_signs,
    slow_spans,
)

SEEDS = st.integers(0, 2**20)
EXACT = ("second", "count", "in_nc", "out_nc", "observed_us", "gap_us")
EXTREMES = ("volts_min", "volts_max", "amps_min", "amps_max")
MADE = (busy(1.0), busy(0.2), with_holes(busy(1.0)), interleaved(busy(2.0)), at_the_crank(200.0))


def agree(block: Block, gap_s: float | None = None) -> None:
    fast = seconds_of(block, Facts(gap_s=gap_s)).seconds
    slow = slow_seconds(block, None if gap_s is None else round(gap_s * SECOND_US))
    assert len(fast) == len(slow)
    for name in (*EXACT, *EXTREMES, "celsius"):
        wanted = [row[name] for row in slow]
        np.testing.assert_array_equal(getattr(fast, name), wanted, err_msg=name)
    for name in ("volts", "amps"):
        # the sums of a second are formed in another order: each of at most n additions may err by half an ulp
        wanted = np.array([row[name] for row in slow])
        biggest = np.array([max(abs(row[f"{name}_min"]), abs(row[f"{name}_max"])) for row in slow])
        slack = np.array([row["count"] for row in slow]) * np.finfo(float).eps * np.nan_to_num(biggest)
        assert (np.abs(getattr(fast, name) - wanted)[~np.isnan(wanted)] <= slack[~np.isnan(wanted)]).all()
        np.testing.assert_array_equal(np.isnan(getattr(fast, name)), np.isnan(wanted))


@given(SEEDS, st.sampled_from([None, 2.0, 45.0]))
def test_seconds_of_random_lives_agree_with_a_plain_loop(seed, gap_s):
    agree(random_log(seed).block, gap_s)


@pytest.mark.parametrize("log", MADE, ids=lambda log: log.name)
def test_seconds_of_made_lives_agree_with_a_plain_loop(log):
    agree(log.block)


@given(st.lists(st.tuples(st.integers(1, 30_000_000), st.floats(-500, 500)), min_size=1, max_size=40))
def test_seconds_of_any_times_agree_with_a_plain_loop(rows):
    t = T0 + np.cumsum([step for step, _ in rows])
    agree(Block(t, np.full(len(t), 12.5), np.array([amps for _, amps in rows])))


def overview_of(seconds: Seconds) -> LogPart:
    overview = Overview()
    overview.update(seconds, 0, 1, [])
    return overview.log()


@given(SEEDS)
def test_the_rate_agrees_with_sorted_lists(seed):
    block = random_log(seed).block
    rate = overview_of(seconds_of(block).seconds).rate_hz
    assert (rate.median, rate.max) == slow_rate_hz(block)


@pytest.mark.parametrize("log", MADE, ids=lambda log: log.name)
def test_the_rate_of_made_lives_agrees_with_sorted_lists(log):
    rate = overview_of(seconds_of(log.block).seconds).rate_hz
    assert (rate.median, rate.max) == slow_rate_hz(log.block)


@given(SEEDS, st.sampled_from([6.0, 12.0, 24.0]))
def test_the_evidence_of_the_sign_agrees_with_a_plain_loop(seed, nominal_v):
    check, facts = None, Facts(nominal_v=nominal_v)
    check = SignCheck(facts)
    seconds = seconds_of(random_log(seed).block).seconds
    check.update(seconds)
    rows = [{n: float(getattr(seconds, n)[i]) for n in ("volts", "amps", "volts_min", "amps_min", "amps_max")}
            for i in range(len(seconds))]  # fmt: skip
    found = slow_signs(rows, facts.scale)
    assert {name: getattr(check.state, name) for name in found} == found


def rows_of(drain):
    """Rows of a 1 Hz log of this drain."""
    t = T0 - T0 % SECOND_US + np.arange(len(drain)) * SECOND_US
    return Rows.of(seconds_of(Block(t, np.full(len(t), 12.6), -drain)).seconds)[0]


@given(st.integers(2, 300), st.floats(0.05, 4.0), st.floats(0.0, 0.2), st.integers(0, 2**20))
def test_the_charge_of_a_wake_up_agrees_with_trapezoids_by_hand(length, size, level, seed):
    shape = size * (0.5 + np.random.default_rng(seed).random(length))
    drain = np.concatenate([np.full(10, level), level + shape, np.full(10, level)])
    rows = rows_of(drain)
    start = int(rows.second[10])
    found = wake_up(Excursion(rows, start, start + length, level, Texture()))
    pairs = list(zip(rows.second.tolist(), drain.tolist(), strict=True))
    wanted = slow_excess_as(pairs, start, start + length - 1, level) / 3600.0
    # nanocoulombs are rounded per interval (half a nC each), the rest is float noise
    assert found.charge_ah == pytest.approx(wanted, abs=(length + 2) * 0.5e-9 / 3600 + 1e-12)
    assert found.peak_a == drain.max()


@given(st.integers(0, 1000), st.floats(0.01, 0.3))
def test_the_plateau_mean_agrees_with_the_mean_of_its_seconds(seed, level):
    log = Life(1.0, seed).spend(2400, 12.6, -level).done("quiet")
    seconds = seconds_of(log.block).seconds
    tracker = PlateauTracker()
    assert tracker.update(seconds) == []
    assert tracker.flush() == []
    found = asleep(tracker.state, Facts())
    (plateau,) = found.plateaus
    inside = (seconds.second * SECOND_US >= plateau.start) & (seconds.second * SECOND_US < plateau.end)
    # frames are weighted by observed time, and the first second has none: it can move the mean by its own deviation / n
    n = int(inside.sum())
    slack = 6 * (0.0005 + 0.004 * level) / n + 1e-9
    assert -plateau.amps == pytest.approx(float(-seconds.amps[inside].mean()), abs=slack)
    assert n >= 2390


@given(st.lists(st.tuples(st.booleans(), st.integers(1, 60), st.floats(0.01, 0.4)), min_size=2, max_size=12))
def test_the_spans_of_cranks_agree_with_a_plain_loop(parts):
    """Starter currents and pauses in turns at random steps: the same stretches, bridged over the same pauses."""
    times, amps, t = [], [], T0
    for turning, count, step_s in parts:
        for _ in range(count):
            times.append(t)
            amps.append(-180.0 if turning else -5.0)
            t += round(step_s * SECOND_US)
    for _ in range(400):
        times.append(t)
        amps.append(-5.0)
        t += 10_000
    lead = [times[0] - 10_000 * k for k in range(50, 0, -1)]
    t_us, a = np.array(lead + times), np.array([-5.0] * 50 + amps)
    volts = np.where(a < -100, 10.0, 12.5)
    detector = CrankDetector(Facts())
    spans = detector._spans(t_us, volts, a, 50)
    step_us = float(np.median(np.diff(t_us[48:])))
    wanted = [
        (int(t_us[i]), int(t_us[min(k + 1, len(t_us) - 1)]))
        for i, k in slow_spans(t_us.tolist(), (a < -50).tolist(), max(SECOND_US, 1.5 * step_us))
        if t_us[k] - t_us[i] <= 30 * SECOND_US
    ]
    assert [(f.start_us, f.end_us) for f in spans] == wanted


@given(st.floats(7.0, 15.0), st.floats(25.0, 60.0), st.sampled_from([50.0, 100.0, 200.0]), st.floats(0.8, 2.0))
def test_the_ripple_is_the_strongest_line_of_the_spectrum_by_definition(line, size, hz, length_s):
    n = int(length_s * hz)
    t = np.arange(n) / hz
    amps = -150.0 + size * np.sin(2 * np.pi * line * t + 0.3) - 150.0 * t / t[-1]  # the starter slows down meanwhile
    found = ripple_hz(amps, hz)
    assert found is not None
    around = {f: slow_power(amps.tolist(), hz, f) for f in np.arange(2.0, min(20.0, 0.45 * hz), 0.05)}
    best = max(around, key=around.__getitem__)
    # the parabola through lines hz / 8 n apart errs by less than their distance; the loop's own lines are 0.05 apart
    assert found == pytest.approx(best, abs=hz / (8 * n) + 0.05)


def test_the_loops_know_what_nothing_is():
    nothing = Block(np.array([T0]), np.array([math.nan]), np.array([-0.1]))
    (row,) = slow_seconds(nothing)
    assert math.isnan(row["volts"])
    assert (row["in_nc"], row["out_nc"], row["count"]) == (0, 0, 1)
