"""Laws of the charging detector: any cut gives the same result, state survives a restart, slow twins agree."""

import itertools
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import monitor.detect.minutes as minutes_module
from monitor.base.samples import Seconds
from monitor.base.state import from_plain, to_plain
from monitor.detect.charging import ChargingDetector
from monitor.detect.facts import Facts

T0 = 1_700_000_007


def rough_drive(seed, n=5000):
    """A drive with a slow start, pulses, gaps, missing values, hunting and quick and slow seconds."""
    random = np.random.default_rng(seed)
    t = T0 + np.cumsum(random.choice([1, 1, 2, 9, 200], n, p=[0.6, 0.25, 0.12, 0.028, 0.002]))
    level = random.choice([12.3, 12.9, 14.2, 15.0, 16.3], n // 100 + 1).repeat(100)[:n]
    volts = level + 0.05 * random.standard_normal(n)
    volts[:40] = 12.2
    hunting = slice(n // 3, n // 2)
    volts[hunting] += 0.5 * np.sign(np.sin(np.arange(n)))[hunting]
    volts[random.random(n) < 0.03] = np.nan
    amps = np.where(random.random(n) < 0.3, np.nan, random.normal(0, 8, n))
    amps[:60] = -10.0
    celsius = np.where(random.random(n) < 0.2, np.linspace(0, 30, n), np.nan)
    zero, spread = np.zeros(n, np.int64), random.exponential(0.03, n)
    gap = np.where(np.diff(t, prepend=t[0]) >= 9, np.diff(t, prepend=t[0]) * 1_000_000, 0)
    volts[(gap > 0) & (random.random(n) < 0.5)] = np.nan  # a gap that ends in a second without volts
    count = random.integers(1, 60, n)
    return Seconds(t, count, volts, volts - spread, volts + spread, amps, amps, amps, celsius, zero, zero, zero, gap)


DRIVE = rough_drive(1)
STOPS = (1500, 1600)  # a stop-start stop of the seconds between


@pytest.fixture(autouse=True)
def _small_table(monkeypatch):
    monkeypatch.setattr(minutes_module, "MOST_BINS", 64)  # so that the bins really merge


def fed(drive, cuts, look=False):
    detector = ChargingDetector(Facts(capacity_ah=60), T0 * 1_000_000, True)
    borders = sorted({0, *cuts, *(s for s in STOPS if s < len(drive)), len(drive)})
    for start, end in itertools.pairwise(borders):
        detector.update(drive[start:end], running=not STOPS[0] <= start < STOPS[1])
        detector.update(drive[end:end])
        if look:
            detector.result()
    return detector


@given(st.lists(st.integers(0, len(DRIVE)), max_size=25), st.booleans())
def test_any_cut_gives_the_same_result_to_the_last_bit(cuts, look):
    whole, cut = fed(DRIVE, []), fed(DRIVE, cuts, look)
    assert cut.result() == whole.result()
    assert to_plain(cut.state) == to_plain(whole.state)


@pytest.mark.parametrize("seed", range(2, 8))
def test_second_by_second_gives_the_same_result(seed):
    drive = rough_drive(seed, 2000)
    assert fed(drive, range(2000)).result() == fed(drive, []).result()


def test_the_bins_did_merge_and_the_drive_is_not_dull():
    detector = fed(DRIVE, [])
    found = detector.result()
    assert detector.state.table.width > 1
    assert found.faults
    assert found.phases
    assert found.ripple_mv is not None


def test_the_result_changes_nothing():
    detector = fed(DRIVE, [])
    before = json.dumps(to_plain(detector.state))
    assert detector.result() == detector.result()
    assert json.dumps(to_plain(detector.state)) == before


@pytest.mark.parametrize("at", [20, 1550, 3333])
def test_a_restored_detector_goes_on_as_if_nothing_had_happened(at):
    whole = fed(DRIVE, [])
    first = fed(DRIVE[:at], [])
    second = ChargingDetector(first.facts, first.start_us, True)
    second.state = from_plain(json.loads(json.dumps(to_plain(first.state))))
    borders = sorted({at, *(s for s in STOPS if s > at), len(DRIVE)})
    for start, end in itertools.pairwise(borders):
        second.update(DRIVE[start:end], running=not STOPS[0] <= start < STOPS[1])
    assert second.result() == whole.result()


def test_state_is_bounded():
    detector = fed(DRIVE, [])
    assert len(json.dumps(to_plain(detector.state))) < 100_000
    assert len(detector.state.table.key) <= 64


def slow_runs(drive):
    """Textbook loop: delay in s and longest spell below 13.2 V in s, of a drive without stops."""
    charged = since = low_since = None
    last = longest = gap = 0
    unseen = False
    for second, volts, amps, gap_us in zip(
        drive.second.tolist(), drive.volts.tolist(), drive.amps.tolist(), drive.gap_us.tolist(), strict=True
    ):
        gap += gap_us
        if volts != volts:  # NaN
            continue
        if charged is None:
            if gap > 5_000_000:
                since, unseen = None, True
            if volts >= 13.2 or amps > 0.5:
                since = second if since is None else since
                if second - since >= 3:
                    charged = since
            else:
                since = None
        if low_since is not None and gap > 60_000_000:
            low_since = None
        if volts < 13.2:
            low_since = second if low_since is None else low_since
            longest = max(longest, second - low_since)
        else:
            low_since = None
        last, gap = second, 0
    assert last
    return None if unseen or charged is None else charged - T0, longest


@given(st.integers(0, 10_000), st.integers(1, 300))
def test_delay_and_low_spell_agree_with_a_plain_loop(seed, chunk):
    drive = rough_drive(seed, 600)
    detector = ChargingDetector(Facts(), T0 * 1_000_000, True)
    for start in range(0, 600, chunk):
        detector.update(drive[start : start + chunk])
    delay, longest = slow_runs(drive)
    state = detector.state
    running = 0 if state.low_since is None else state.low_last - state.low_since
    assert detector.result().delay_s == delay
    assert max(state.low_longest, running) == longest
