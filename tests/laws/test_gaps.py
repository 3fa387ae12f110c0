"""A gap is unobserved time: it makes no voltage, wake-up, crank or charge, and no charge is counted across it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.ledger import Ledger
from monitor.base.samples import SECOND_US, Block
from monitor.detect import Engine
from monitor.detect.facts import Facts
from tests.laws.logs import T0, Life, busy_life
from tests.laws.slow import slow_charge_nc

AS_PER_AH = 3600.0


def document(block, facts=None):
    engine = Engine(facts or Facts())
    return engine.document(engine.update(block), Ledger())


def without(block, begin, end):
    """The block with rows left out: the logger was silent."""
    keep = np.concatenate([np.arange(begin), np.arange(end, len(block))])
    return Block(block.t_us[keep], block.volts[keep], None if block.amps is None else block.amps[keep])


def paused(block, row, seconds):
    """The same samples, those from `row` on later: the world stood still and the logger was silent."""
    t = block.t_us.copy()
    t[row:] += round(seconds * SECOND_US)
    return Block(t, block.volts, block.amps)


QUIET = Life(1.0).spend(2400, 12.62, -0.02).done("quiet night").block
SETTLING = Life(1.0).shutdown().spend(900, 12.62, -0.02).done("settling").block
DRIVING = Life(1.0).crank().spend(900, 14.2, 6.0).done("driving").block
EVENTFUL = busy_life(1.0).done("busy").block


def events(found):
    """Spans in which something is said to have happened, by kind."""
    cranks = [d.crank for d in found.drives if d.crank] + [c for s in found.stands for c in s.failed_starts]
    restarts = [(x.end, x.end) for d in found.drives for x in d.stops]
    return {
        "wake-up": [(w.start, w.end) for s in found.stands for w in s.wake_ups],
        "crank": [(c.start, c.start) for c in cranks] + restarts,
        "charge": [(c.start, c.end) for s in found.stands for c in s.charges],
        "step": [(x.at, x.at) for s in found.stands for x in s.level_steps],
    }


def all_volts(found):
    """Every voltage that a document tells."""
    for stand in found.stands:
        yield from (p.volts for p in stand.plateaus)
        yield stand.rest.volts
        yield from (v for c in stand.failed_starts for v in (c.volts_before, c.volts_min))
    for drive in found.drives:
        yield from (drive.charging.volts_median, drive.charging.volts_p05, drive.charging.volts_p95)
        yield from (p.volts for p in drive.charging.phases)
        yield from () if drive.crank is None else (drive.crank.volts_before, drive.crank.volts_min)


@given(st.integers(5, 2300), st.floats(11, 5e5))
def test_a_silent_logger_in_a_quiet_night_changes_nothing_but_the_unobserved_time(row, seconds):
    found = document(paused(QUIET, row, seconds))
    (stand,) = found.stands
    gap_s = round(seconds * SECOND_US) / SECOND_US + 1
    assert found.log.unobserved_s == gap_s
    assert stand.unobserved_s == gap_s
    assert found.drives == []
    assert events(found) == {"wake-up": [], "crank": [], "charge": [], "step": []}
    assert stand.sleep_current_a == pytest.approx(0.02, abs=2e-4)


@given(st.integers(5, 1700), st.integers(6, 600))
def test_rows_left_out_of_a_shutdown_make_nothing(begin, length):
    found = document(without(SETTLING, begin, min(begin + length, len(SETTLING) - 3)))
    assert found.drives == []
    happened = events(found)
    assert happened["crank"] == []
    assert happened["charge"] == []
    assert happened["wake-up"] == []


@given(st.integers(20, 880), st.integers(6, 500))
def test_rows_left_out_of_a_drive_neither_stop_the_engine_nor_crank_it(begin, length):
    found = document(without(DRIVING, begin, min(begin + length, len(DRIVING) - 3)))
    assert len(found.drives) == 1
    assert found.drives[0].open
    assert found.drives[0].stops == []
    assert found.drives[0].unobserved_s == found.log.unobserved_s > 0
    assert found.drives[0].charging.faults == document(DRIVING).drives[0].charging.faults == []


# what a sample must show, in this log, for a thing to be told of its time: amps, + into the battery
SHOWS = {"wake-up": (-np.inf, -0.05), "crank": (-np.inf, -100.0), "charge": (0.3, np.inf), "step": (-np.inf, -0.05)}


@given(st.integers(3, len(EVENTFUL) - 10), st.integers(6, 900))
def test_nothing_happens_in_a_gap_or_because_of_it(begin, length):
    end = min(begin + length, len(EVENTFUL) - 3)
    cut = without(EVENTFUL, begin, end)
    found = document(cut)
    for kind, spans in events(found).items():
        low, high = SHOWS[kind]
        for start, stop in spans:
            # a second on each side: an edge is placed within its second by how full that second is
            there = (cut.t_us >= start - SECOND_US) & (cut.t_us <= stop + SECOND_US)
            shown = (cut.amps[there] >= low) & (cut.amps[there] <= high)
            assert shown.any(), f"{kind} at {(start - T0) / SECOND_US} s, gap from {begin} to {end}"
    told = [v for v in all_volts(found) if v is not None]
    # charging percentiles are the middles of bins 5 mV wide: half a bin beyond the sample
    assert min(told) >= cut.volts.min() - 0.0025
    assert max(told) <= cut.volts.max() + 0.0025


@given(st.lists(st.tuples(st.integers(0, len(EVENTFUL)), st.integers(3, 300)), min_size=1, max_size=4))
def test_charge_is_counted_between_samples_and_never_across_a_gap(holes):
    keep = np.ones(len(EVENTFUL), np.bool_)
    for begin, length in holes:
        keep[begin : begin + length] = False
    block = Block(EVENTFUL.t_us[keep], EVENTFUL.volts[keep], EVENTFUL.amps[keep])
    found = document(block)
    parts = [*found.stands, *found.drives]
    into, out = slow_charge_nc(block)
    # each Ah figure is an integer of nanocoulomb times a float: a relative error of 2^-52 each
    assert sum(p.charge_in_ah or 0.0 for p in parts) * AS_PER_AH * 1e9 == pytest.approx(into, abs=1)
    assert sum(p.charge_out_ah or 0.0 for p in parts) * AS_PER_AH * 1e9 == pytest.approx(out, abs=1)
    assert sum(p.unobserved_s for p in parts) == pytest.approx(found.log.unobserved_s, abs=1e-6)
    assert sum((g.end - g.start) / SECOND_US for g in found.log.gaps) == pytest.approx(found.log.unobserved_s, abs=1e-6)


def test_a_gap_the_owner_allows_is_none():
    block = paused(QUIET, 1000, 50)
    assert document(block, Facts(gap_s=60.0)).log.unobserved_s == 0
    assert document(block, Facts(gap_s=50.0)).log.unobserved_s == 51


def test_a_logger_that_goes_slow_for_good_has_no_gap():
    fast, slow = np.arange(600) * SECOND_US, 600 * SECOND_US + np.arange(200) * 60 * SECOND_US
    t = T0 + np.concatenate([fast, slow])
    assert document(Block(t, np.full(800, 12.6), np.full(800, -0.02))).log.gaps == []


def test_the_engine_started_in_a_gap_is_a_drive_without_a_crank():
    life = Life(1.0).spend(900, 12.6, -0.02).pause(3600).spend(600, 14.2, 8.0).done("started unseen")
    found = document(life.block)
    assert len(found.drives) == 1
    assert found.drives[0].crank is None
    assert [s.failed_starts for s in found.stands] == [[]]
    assert found.drives[0].charging.delay_s is None


def test_the_laws_of_gaps_are_tried_on_a_log_with_events():
    happened = events(document(EVENTFUL))
    assert all(happened[kind] for kind in ("wake-up", "crank", "charge"))
