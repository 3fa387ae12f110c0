"""Laws of the rest detector: any cut gives the same result, state survives a restart, memory is bounded."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import monitor.detect.minutes as minutes_module
from monitor.base.samples import Seconds
from monitor.base.state import from_plain, to_plain
from monitor.detect.facts import Facts
from monitor.detect.minutes import UNKNOWN, MinuteTable, OpenMinute, micro, sort_minutes
from monitor.detect.rest import RestDetector, SleepView

T0 = 1_700_000_123
SLEEP = SleepView(settled_at_us=(T0 + 1500) * 1_000_000, sleep_current_a=0.03, end_us=(T0 + 60_000) * 1_000_000)


def rough_stand(seed, n=6000):
    """A stand with gaps, missing values, wake-ups, a charger and an irregular rate."""
    random = np.random.default_rng(seed)
    t = T0 + np.cumsum(random.choice([1, 1, 1, 2, 7, 300], n, p=[0.5, 0.2, 0.2, 0.05, 0.045, 0.005]))
    h = (t - T0) / 3600
    volts = 12.5 + 0.3 * np.exp(-h / 0.3) - 0.002 * h + 0.004 * random.standard_normal(n)
    amps = -0.03 + 0.002 * random.standard_normal(n)
    amps[1000:1300], volts[1000:1300] = -1.0, volts[1000:1300] - 0.02
    amps[3000:3200], volts[3000:3200] = 4.0, 14.0
    volts[random.random(n) < 0.02] = np.nan
    amps[random.random(n) < 0.3] = np.nan
    celsius = np.where(random.random(n) < 0.1, 15 + h, np.nan)
    zero = np.zeros(n, np.int64)
    gap = np.where(np.diff(t, prepend=t[0]) >= 300, 300_000_000, 0)
    return Seconds(t, zero + 1, volts, volts, volts, amps, amps, amps, celsius, zero, zero, zero, gap)


def fed(stand, cuts, look=False):
    detector = RestDetector(Facts(kind="flooded", capacity_ah=60), T0 * 1_000_000)
    for start, end in zip([0, *cuts], [*cuts, len(stand)], strict=True):
        detector.update(stand[start:end])
        if look:
            detector.result(SLEEP)
    return detector


STAND = rough_stand(1)
WHOLE = fed(STAND, [])


@pytest.fixture(autouse=True)
def _small_table(monkeypatch):
    monkeypatch.setattr(minutes_module, "MOST_BINS", 64)  # so that the bins really merge


@given(st.lists(st.integers(0, len(STAND)), max_size=25), st.booleans())
def test_any_cut_gives_the_same_result_to_the_last_bit(cuts, look):
    whole, cut = fed(STAND, []), fed(STAND, sorted(cuts), look)
    assert cut.result(SLEEP) == whole.result(SLEEP)
    assert to_plain(cut.state) == to_plain(whole.state)


def test_second_by_second_gives_the_same_result():
    part = STAND[:2500]
    one = fed(part, range(1, 2500))
    assert one.result(SLEEP) == fed(part, []).result(SLEEP)


def test_the_bins_did_merge():
    assert fed(STAND, []).state.table.width > 1


def test_the_result_changes_nothing():
    detector = fed(STAND, [])
    before = json.dumps(to_plain(detector.state))
    assert detector.result(SLEEP) == detector.result(SLEEP)
    assert json.dumps(to_plain(detector.state)) == before


def test_a_restored_detector_goes_on_as_if_nothing_had_happened():
    first = fed(STAND[:3217], [])
    second = RestDetector(first.facts, T0 * 1_000_000)
    second.state = from_plain(json.loads(json.dumps(to_plain(first.state))))
    second.update(STAND[3217:])
    assert second.result(SLEEP) == fed(STAND, []).result(SLEEP)


def test_before_the_first_second_there_is_a_result():
    assert RestDetector(Facts(), T0 * 1_000_000).result(SLEEP).volts is None


def test_memory_of_a_long_stand_is_bounded(monkeypatch):
    monkeypatch.undo()
    detector = RestDetector(Facts(), T0 * 1_000_000)
    sizes = []
    for day in range(60):
        t = T0 + day * 86400 + np.arange(0, 86400, 30)
        n, zero = len(t), np.zeros(len(t), np.int64)
        nothing, volts = np.full(n, np.nan), np.full(n, 12.6)
        detector.update(Seconds(t, zero + 1, volts, volts, volts, *[nothing] * 4, zero, zero, zero, zero))
        state = detector.state
        sizes.append(sum(c.nbytes for c in [state.table.key, state.open_minute.flat, *state.table.columns]))
    assert max(sizes) < 200_000
    assert detector.result(SLEEP).volts == pytest.approx(12.6)


def slow_minutes(second, values):
    """The textbook way: collect each minute in a list and take the mean of its middle half."""
    found = {}
    for s, v in zip(second.tolist(), values.tolist(), strict=True):
        found.setdefault(s // 60, []).append(v)
    out = {}
    for minute, seen in found.items():
        known = sorted(v for v in seen if v != UNKNOWN)
        cut = len(known) // 4
        middle = known[cut : len(known) - cut]
        out[minute] = sum(middle) // len(middle) if middle else int(UNKNOWN)
    return out


@given(st.integers(0, 10_000))
def test_minutes_agree_with_a_plain_loop(seed):
    stand = rough_stand(seed, 400)
    values = micro(stand.volts, stand.amps)
    minutes = sort_minutes(stand.second, values)
    mean = minutes.middle_mean()
    for channel in (0, 1):
        fast = dict(zip(minutes.minute.tolist(), mean[channel].tolist(), strict=True))
        assert fast == slow_minutes(stand.second, values[channel])


@given(st.lists(st.integers(1, 40), min_size=1, max_size=400), st.integers(1, 7))
def test_a_table_agrees_with_a_plain_dictionary_of_its_width(steps, chunk):
    minute = np.cumsum(steps)
    table = MinuteTable(["sum", "min", "max"])
    for at in range(0, len(minute), chunk):
        part = minute[at : at + chunk]
        table.fold(part, [part, part, part])
    assert len(table.key) <= 64
    bins = {}
    for m in minute.tolist():
        bins.setdefault(m // table.width, []).append(m)
    assert table.key.tolist() == list(bins)
    for column, way in zip(table.columns, (sum, min, max), strict=True):
        assert column.tolist() == [way(b) for b in bins.values()]


def test_an_open_minute_is_handed_on_only_when_the_next_one_begins():
    waiting = OpenMinute()
    second, _ = waiting.take(np.array([60, 61]), np.array([[1, 2]]))
    assert len(second) == 0
    second, values = waiting.take(np.array([120]), np.array([[3]]))
    assert second.tolist() == [60, 61]
    assert values.tolist() == [[1, 2]]
