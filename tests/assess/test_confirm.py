"""Proven, not yet or failed: on invented weeks whose truth is plain."""

from datetime import UTC

import numpy as np
import pytest

from monitor.assess.confirm import confirm
from monitor.base.results import DayBalance
from tests.assess.weeks import DAY, FIRST, repaired_after, week

SOUND = [21.0, 20.4, 20.9, 21.3, 20.7, 21.1, 20.2]
BAD = [441.0, 440.2, 441.7, 439.9, 440.6, 442.1, 438.8]


def told(before, after, wakes=None, decays=None, **more):
    return confirm(week([*before, *after], wakes, decays), repaired_after(len(before)), UTC, **more)


def compared(found, name):
    (one,) = [one for one in found.comparisons if one.name == name]
    return one


def test_a_drain_gone_for_a_week_is_proven():
    found = told(BAD, SOUND)
    assert found.answer == "proven"
    level = compared(found, "sleep_current")
    assert level.decides
    assert level.low <= level.change <= level.high < -400
    assert level.p == pytest.approx(1 / 3432, rel=1e-9)  # 7 of 14: as sure as they can be


def test_the_same_drain_after_the_repair_is_failed_after_one_night():
    found = told(BAD, BAD[:1])
    assert found.answer == "failed"


def test_three_quiet_nights_after_four_are_not_enough_and_two_more_would_do():
    found = told(BAD[:4], SOUND[:3])
    assert (found.answer, found.further_nights) == ("not_yet", 2)
    assert told(BAD[:4], SOUND[:5]).answer == "proven"


def test_a_night_above_the_limit_after_the_repair_is_never_proven():
    found = told(BAD, [*SOUND[:6], 440.0])
    assert found.answer == "not_yet"
    assert any("1 of the nights after" in text for text in found.missing)


@pytest.mark.parametrize(("quiet", "answer"), [(7, "not_yet"), (14, "proven")])
def test_a_drain_on_three_nights_of_seven_takes_two_quiet_weeks(quiet, answer):
    before = [21.0, 441.0, 20.5, 440.0, 20.8, 439.0, 21.2]
    found = told(before, [20 + 0.1 * k for k in range(quiet)])
    assert compared(found, "nights_above_limit").decides
    assert compared(found, "nights_above_limit").p == pytest.approx((7 / (7 + quiet)) ** 3)
    assert found.answer == answer


def test_the_further_nights_of_a_drain_that_comes_and_goes_are_told():
    before = [21.0, 441.0, 20.5, 440.0, 20.8, 439.0, 21.2]
    found = told(before, SOUND)
    assert found.further_nights == 6  # (7/19)³ = 0.0500 is not below 0.05 by a hair: (7/20)³ = 0.043 is


def test_wake_ups_gone_are_proven_by_their_number():
    found = told(SOUND, SOUND, wakes=[2, 1, 3, 2, 1, 2, 1, *[0] * 7])
    assert compared(found, "wake_ups").decides
    assert compared(found, "wake_ups").p == pytest.approx(2.0**-12)
    assert found.answer == "proven"


def test_wake_ups_fewer_but_not_gone_have_their_ratio_with_an_interval():
    found = told(SOUND, SOUND, wakes=[2, 1, 3, 2, 1, 2, 1, 1, 0, 0, 1, 0, 0, 0])
    one = compared(found, "wake_ups")
    assert (one.events.before, one.events.after) == (12, 2)
    assert (one.low, one.high) == pytest.approx((0.018, 0.749), abs=5e-4)
    assert one.p == pytest.approx(0.00647, abs=1e-5)


def test_wake_ups_as_before_are_failed():
    assert told(SOUND, SOUND, wakes=[12, 9, 11, 10, 13, 8, 11] * 2).answer == "failed"


def test_few_wake_ups_as_before_are_not_yet_anything():
    assert told(SOUND, SOUND[:3], wakes=[1, 0, 1, 0, 1, 0, 0, 1, 0, 0]).answer == "not_yet"


def test_wake_ups_in_clumps_are_counted_by_nights():
    """Sixty in one night are one event, not sixty."""
    found = told(SOUND, SOUND, wakes=[60, 0, 0, 0, 0, 0, 0, *[0] * 7])
    assert compared(found, "nights_with_wake_ups").p == 0.5
    assert found.answer == "not_yet"


def test_two_nights_before_do_not_show_whether_wake_ups_clump():
    found = told(SOUND[:2], SOUND[:3], wakes=[30, 31, 0, 0, 0])
    assert compared(found, "nights_with_wake_ups").events.before == 2
    assert found.answer == "not_yet"


def test_wake_ups_that_stay_do_not_fail_a_drain_that_is_mended():
    assert told(BAD, SOUND, wakes=[70] * 14).answer == "proven"


def test_without_a_fault_before_there_is_nothing_to_prove():
    found = told(SOUND, SOUND)
    assert found.answer == "not_yet"
    assert any("a fault in the nights before" in text for text in found.missing)


def test_the_limit_is_the_owners():
    assert told([30.0] * 5, [8.0, 8.1, 8.2, 8.3, 8.4], limit_a=0.02).answer == "proven"
    assert told([30.0] * 5, [8.0, 8.1, 8.2, 8.3, 8.4]).answer == "not_yet"


@pytest.mark.parametrize(("before", "after"), [(0, 3), (3, 0)])
def test_nights_are_needed_on_both_sides(before, after):
    levels = [*BAD[:before], *SOUND[:after]]
    at = repaired_after(before) if before else FIRST - DAY
    found = confirm(week(levels), at, UTC)
    assert (found.nights_before, found.nights_after, found.answer) == (before, after, "not_yet")
    assert found.comparisons == []
    assert found.missing


def test_volts_alone_are_judged_by_their_decay():
    found = told([None] * 5, [None] * 5, decays=[5.1, 5.3, 4.9, 5.2, 5.6, 0.4, 0.2, 0.5, 0.1, 0.3])
    assert compared(found, "decay").decides
    assert found.answer == "proven"
    assert any("volts alone" in text for text in found.because)


def test_nights_without_sleep_count_with_what_they_drew():
    result = week([*BAD[:5], *SOUND[:5]])
    for stand in result.stands[:5]:
        stand.sleep_current_a, stand.plateaus = None, []
    found = confirm(result, repaired_after(5), UTC)
    assert found.answer == "proven"
    assert any("5 nights without sleep" in text for text in found.because)


def test_whole_days_are_balanced_and_the_day_of_the_repair_is_left_out():
    result = week([*BAD[:5], *SOUND[:5]])
    result.balance = [
        DayBalance(day=f"2025-03-{3 + k:02}", in_ah=1, out_ah=10, net_ah=-9.0 if k < 5 else 1.0, unobserved_s=0)
        for k in range(11)
    ]
    one = compared(confirm(result, repaired_after(5), UTC), "day_balance")
    assert (len(one.before), len(one.after), one.change) == (4, 4, -10)


def test_a_day_with_a_short_gap_counts_and_one_hardly_observed_does_not():
    result = week([*BAD[:5], *SOUND[:5]])
    unseen = [0, 60, 5000, *[0] * 8]
    result.balance = [
        DayBalance(day=f"2025-03-{3 + k:02}", in_ah=1, out_ah=10, net_ah=-9.0, unobserved_s=unseen[k])
        for k in range(11)
    ]
    assert len(compared(confirm(result, repaired_after(5), UTC), "day_balance").before) == 3


def test_by_chance_alone_no_more_than_one_repair_in_twenty_is_called_proven():
    """Both sides drawn alike, above and below the limit as it falls: p of 0.05 allows so many errors, and no more."""
    random = np.random.default_rng(20250408)
    proven = 0
    trials = 100
    for _ in range(trials):
        levels = np.where(random.random(14) < 0.4, 440.0, 21.0) + random.normal(0, 1, 14)
        proven += told(levels[:7].tolist(), levels[7:].tolist()).answer == "proven"
    # at most 5 % expected; three standard errors of 100 trials are another 6.5 %
    assert proven / trials <= 0.115
