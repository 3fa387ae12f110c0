"""Warm-up, missing channels and gaps are told as unknown: None or nothing, never 0."""

import json

import numpy as np
import pytest

from monitor.base.ledger import Ledger
from monitor.base.samples import SECOND_US, Block, Seconds
from monitor.detect import Engine
from monitor.detect.facts import Facts
from tests.laws.logs import T0, Log, busy, random_log
from tests.laws.subjects import SUBJECTS, OfEngine, OfPhases

NOTHING = Block(np.empty(0, np.int64), np.empty(0))
each_subject = pytest.mark.parametrize("kind", SUBJECTS, ids=lambda kind: kind.kind.__name__)


def log_of(n, step_s=1.0, volts=12.6, amps=-0.02, facts=None):
    t = T0 + (np.arange(n) * step_s * SECOND_US).astype(np.int64)
    return Log("made", Block(t, np.full(n, volts), np.full(n, amps)), facts or Facts())


def document(log):
    engine = Engine(log.facts)
    return engine.document(engine.update(log.block), Ledger())


def figures(value, path=""):
    """Every number in a document, with its key."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from figures(inner, key)
    elif isinstance(value, list):
        for inner in value:
            yield from figures(inner, path)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield path, value


@each_subject
def test_before_the_first_sample_nothing_is_claimed(kind):
    subject = kind(Log("empty", NOTHING))
    subject.feed(0, 0)
    said = json.loads(subject.text())
    told = list(figures(json.loads(said) if kind is OfEngine else said))
    counts = {"samples", "unobserved_s", "duplicates", "reordered", "wake_ups_uncounted", "start", "end"}
    assert [name for name, _ in told if name not in counts] == []
    assert all(value == 0 for name, value in told)


def test_an_empty_log_is_an_empty_document():
    found = document(Log("empty", NOTHING))
    assert found.stands == []
    assert found.drives == []
    assert found.log.first is None
    assert found.log.rate_hz.median is None
    assert found.log.rate_hz.max is None
    assert found.log.channels == []


def test_one_sample_is_a_stand_of_which_nothing_is_known():
    found = document(log_of(1))
    (stand,) = found.stands
    assert (stand.start - stand.start % SECOND_US, stand.open) == (T0 - T0 % SECOND_US, True)
    unknown = (stand.settled_at, stand.time_to_sleep_s, stand.sleep_current_a, stand.sleep_current_low_a)
    assert unknown == (None, None, None, None)
    assert stand.rest.settled is not True
    assert stand.rest.ocv_volts is None
    assert stand.rest.decay_mv_per_h is None
    assert stand.rest.state_of_charge is None
    assert found.log.rate_hz.median is None


def test_a_minute_is_too_short_for_a_sleep_current():
    (stand,) = document(log_of(60)).stands
    assert stand.sleep_current_a is None
    assert stand.plateaus == []


def test_without_amps_no_charge_and_no_current_is_told():
    n = 4000
    volts = np.concatenate([np.full(1000, 12.6), np.full(1500, 14.2), np.full(1500, 12.9)])
    for amps in (None, np.full(n, np.nan)):
        found = document(Log("volts alone", Block(T0 + np.arange(n) * SECOND_US, volts, amps)))
        assert found.log.channels == ["volts"]
        for part in (*found.stands, *found.drives):
            assert part.charge_in_ah is None
            assert part.charge_out_ah is None
        for stand in found.stands:
            assert stand.sleep_current_a is None
            assert stand.wake_ups == []
            assert stand.level_steps == []
        for drive in found.drives:
            assert drive.charging.tail_amps is None


def test_a_log_of_gaps_only_has_observed_nothing():
    found = document(log_of(40, step_s=3600.0, facts=Facts(gap_s=60.0)))
    (stand,) = found.stands
    assert found.log.unobserved_s == 39 * 3600
    assert stand.unobserved_s == 39 * 3600
    assert stand.wake_ups == []
    assert stand.charges == []
    assert not stand.charge_out_ah
    assert not stand.charge_in_ah


def test_what_cannot_be_measured_at_a_slow_rate_is_none():
    for seed in range(60):
        for drive in document(random_log(seed)).drives:
            crank = drive.crank
            if crank is not None and crank.sampled_hz is not None and crank.sampled_hz < 0.9:
                assert crank.resistance_mohm is None
                assert crank.ripple_hz is None
                assert crank.engine_rpm is None


def test_no_document_holds_a_nan():
    for seed in range(60):
        for _, value in figures(document(random_log(seed)).model_dump()):
            assert np.isfinite(value)


def test_a_document_reads_back_as_it_was_written():
    found = document(busy(1.0))
    assert type(found).model_validate_json(found.model_dump_json()).model_dump_json() == found.model_dump_json()


def test_before_three_seconds_no_phase_is_told():
    subject = OfPhases(log_of(2))
    subject.feed(0, 2)
    assert subject.told == []


def test_seconds_of_nothing_keep_their_types():
    nothing = Seconds.join([])
    assert (nothing.second.dtype, nothing.in_nc.dtype, nothing.volts.dtype) == (np.int64, np.int64, np.float64)
