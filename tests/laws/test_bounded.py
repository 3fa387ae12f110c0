"""Memory does not grow with the length of a stand, a drive, an outage or a log, however much happens in them."""

import numpy as np
import pytest

from monitor.base.samples import SECOND_US, Block
from monitor.detect.facts import Facts
from tests.laws.contract import check_bounded
from tests.laws.logs import T0, Log
from tests.laws.subjects import SUBJECTS, OfEngine, OfOverview

HOUR, DAY = 3600, 86_400
# Sizes are compared at their fullest, but a table of minutes may refill and merge within the 500 rows between looks:
# 167 minutes at 20 s are 84 bins of two minutes, 11 columns of 8 bytes as base64. A byte kept per row would be 73 kB.
LEFT = 12_000
# What a stand may still gain once it is long: the table of minutes refills to 2,048 bins after each merge (11 columns
# of 8 bytes as base64: 240 kB), batch means to 64, and the seconds of an open frame or excursion (7,200 at most).
REFILLS = 450_000


def drain_log(name, seconds, step_s, drain, volts=12.6, seed=1, keep=None):
    """A log of so many seconds: `drain` and `volts` are functions of its time in seconds, or numbers."""
    t = np.arange(0, seconds, step_s)
    t = t if keep is None else t[keep(t)]
    random = np.random.default_rng(seed)
    amps = -(drain(t) if callable(drain) else np.full(len(t), drain)) + 0.0005 * random.standard_normal(len(t))
    v = (volts(t) if callable(volts) else np.full(len(t), volts)) + 0.002 * random.standard_normal(len(t))
    return Log(name, Block(T0 + (t * SECOND_US).astype(np.int64), v, amps))


def both(make, short_days, long_days):
    return make(f"{short_days} days", short_days * DAY), make(f"{long_days} days", long_days * DAY)


@pytest.mark.parametrize("kind", SUBJECTS, ids=lambda kind: kind.kind.__name__)
def test_twenty_days_asleep_take_no_more_memory_than_two(kind):
    check_bounded(kind, *both(lambda name, s: drain_log(name, s, 20, 0.02), 3, 20), rest_bytes=LEFT)


@pytest.mark.parametrize("kind", SUBJECTS, ids=lambda kind: kind.kind.__name__)
def test_twenty_days_at_the_charger_take_no_more_memory_than_two(kind):
    check_bounded(kind, *both(lambda name, s: drain_log(name, s, 20, -4.0, 14.2), 3, 20), rest_bytes=LEFT)


def test_a_drive_of_days_is_told_second_by_second_and_forgotten():
    def restless(t):
        return np.where(t % 1000 < 10, -5.0, 0.3 + 0.2 * np.sin(t))

    check_bounded(OfEngine, *both(lambda name, s: drain_log(name, s, 5, restless, 14.2), 3, 12), rest_bytes=LEFT)


def test_a_wandering_current_that_never_settles_is_not_kept():
    def wander(t):
        return 0.1 + 0.08 * np.sin(t / 300.0) + 0.05 * np.sin(t / 77.0)

    check_bounded(OfEngine, *both(lambda name, s: drain_log(name, s, 5, wander), 2, 6), rest_bytes=REFILLS)


def test_a_level_that_gaps_keep_from_being_established_is_not_kept():
    """170 s of every 700 s are logged, and the current has risen since the first of them."""

    def make(name, s):
        return drain_log(name, s, 1, lambda t: np.where(t < 1400, 0.2, 0.36), keep=lambda t: t % 700 < 170)

    check_bounded(OfEngine, make("a day", DAY), make("three days", 3 * DAY), rest_bytes=REFILLS)


def test_wake_ups_and_failed_starts_are_listed_up_to_a_bound_and_then_counted():
    def busy_night(t):
        return np.where(t % 60 < 6, 0.5, np.where(t % 600 < 1, 0.0, 0.02))

    log = drain_log("four days of wake-ups every minute", 4 * DAY, 2, busy_night)
    subject = OfEngine(log)
    subject.feed(0, len(log.block))
    (stand,) = subject.detector.document([]).stands
    assert len(stand.wake_ups) == 5000
    assert stand.wake_ups_uncounted == pytest.approx(4 * DAY / 60 - 5000, abs=15)  # the first ten minutes: warm-up


def test_failed_starts_without_end_are_bounded():
    def hit(t):
        return t % 100 < 4

    def make(name, s):
        return drain_log(name, s, 4, lambda t: np.where(hit(t), 180.0, 0.02), lambda t: np.where(hit(t), 9.5, 12.6))

    check_bounded(OfEngine, make("a day", DAY), make("four days", 4 * DAY), rest_bytes=REFILLS)


def test_gaps_are_listed_up_to_a_bound_and_all_counted():
    n = 12_000  # more than the listed ones
    t = np.arange(n * 5) * SECOND_US + (np.arange(n * 5) // 5) * 100 * SECOND_US
    log = Log("a gap every five samples", Block(T0 + t, np.full(n * 5, 12.6), np.full(n * 5, -0.02)), Facts())
    subject = OfOverview(log)
    subject.feed(0, OfOverview.length(log))
    said = subject.detector.log()
    assert len(said.gaps) == 10_000
    assert said.unobserved_s == (n - 1) * 101
