"""The statistics of a repair against published figures, scipy's other roads and statsmodels.

Krishnamoorthy & Thomson (J. Stat. Plan. Inference 119, 2004) for counts 0 and 3; Gu et al. (Biom. J. 50, 2008) for 60
and 30 events; both data sets from memory, their figures computed anew here.
"""

import math
from itertools import combinations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats import rates

from monitor.assess.statistics import (
    clumped,
    further_nights,
    further_time,
    quiet_nights,
    rate_limits,
    rate_test,
    rate_upper,
    share_upper,
    shift,
)

LEVELS = ([310, 295, 330, 305, 318], [28, 31, 27, 30, 29])  # mA of five nights before and five after


def test_no_event_against_three_is_an_eighth_by_the_conditional_test():
    assert rate_test(3, 100, 0, 100).p_lower == pytest.approx(0.125, abs=1e-12)
    # the E-test, more powerful and unconditional, for comparison
    assert stats.poisson_means_test(0, 100, 3, 100).pvalue == pytest.approx(0.0884, abs=1e-4)
    assert stats.poisson_means_test(0, 100, 3, 100, alternative="less").pvalue == pytest.approx(0.0442, abs=1e-4)


GU = (60, 51477.5, 30, 54308.7)
METHODS = {
    "score": 0.000632,
    "wald": 0.000712,
    "exact-cond": 0.000675,
    "cond-midp": 0.000557,
    "sqrt": 0.000570,
    "etest": 0.000567,
}


@pytest.mark.parametrize(("method", "p"), METHODS.items(), ids=METHODS.keys())
def test_statsmodels_gives_the_known_figures_of_the_larger_example(method, p):
    assert rates.test_poisson_2indep(*GU, method=method).pvalue == pytest.approx(p, abs=1e-6)


COUNTS = [GU, (3, 7, 0, 7), (12, 7, 2, 7), (5, 7, 6, 9), (1, 4, 3, 5), (135, 57.9, 1, 43.1)]


@pytest.mark.parametrize("counts", COUNTS, ids=str)
@pytest.mark.parametrize("ratio", [1.0, 0.5])
def test_the_conditional_test_is_that_of_statsmodels(counts, ratio):
    before, before_time, after, after_time = counts
    ours = rate_test(*counts, ratio=ratio)
    for alternative, p in (("smaller", ours.p_lower), ("larger", ours.p_higher)):
        theirs = rates.test_poisson_2indep(
            after, after_time, before, before_time, value=ratio, method="exact-cond", alternative=alternative
        )
        assert p == pytest.approx(theirs.pvalue, rel=1e-9)


@pytest.mark.parametrize("events", [0, 1, 3, 5, 40])
def test_limits_of_a_rate_are_those_of_statsmodels(events):
    theirs = rates.confint_poisson(events, 7.0, method="exact-c")
    assert rate_limits(events, 7.0) == pytest.approx([float(x) for x in theirs], rel=1e-9)


GARWOOD = {0: (0.0, 3.69), 1: (0.025, 5.57), 3: (0.62, 8.77), 5: (1.62, 11.67)}


@pytest.mark.parametrize(("events", "limits"), GARWOOD.items())
def test_limits_of_a_rate_are_garwoods(events, limits):
    assert rate_limits(events, 1.0) == pytest.approx(limits, abs=0.005)  # half of his last digit


def test_nothing_in_ten_nights_leaves_a_rate_of_almost_a_third():
    assert share_upper(0, 10) == pytest.approx(1 - 0.05**0.1, abs=1e-9)
    assert share_upper(0, 10) == pytest.approx(0.2589, abs=1e-4)
    assert rate_upper(0, 10) == pytest.approx(-math.log(0.05) / 10, abs=1e-9)
    assert rate_upper(0, 10) == pytest.approx(0.2996, abs=1e-4)
    assert rate_upper(0, 10) < 0.3  # the rule of three


# columns: share of nights, quiet nights for 95 % and for 99 %
NIGHTS = [(0.5, 5, 7), (0.3, 9, 13), (0.25, 11, 17), (0.2, 14, 21), (0.1, 29, 44), (0.05, 59, 90)]


@pytest.mark.parametrize(("share", "sure", "surer"), NIGHTS)
def test_quiet_nights_needed_for_a_fault_that_comes_now_and_then(share, sure, surer):
    assert (quiet_nights(share), quiet_nights(share, 0.99)) == (sure, surer)
    assert 1 - (1 - share) ** sure >= 0.95 > 1 - (1 - share) ** (sure - 1)


# columns: events and nights before, quiet nights after, p
SILENCE = [(3, 7, 7, 0.125), (3, 7, 14, 1 / 27), (3, 7, 21, 1 / 64), (5, 7, 7, 1 / 32), (7, 14, 14, 1 / 128)]


@pytest.mark.parametrize(("before", "before_nights", "nights", "p"), SILENCE)
def test_silence_after_a_repair_is_worth_this_much(before, before_nights, nights, p):
    assert rate_test(before, before_nights, 0, nights).p_lower == pytest.approx(p, abs=1e-12)


def test_twelve_then_two_is_fewer_with_an_exact_interval():
    tested = rate_test(12, 7, 2, 7)
    assert tested.p_lower == pytest.approx(0.00647, abs=1e-5)
    assert (tested.low, tested.high) == pytest.approx((0.018, 0.749), abs=5e-4)  # half of the last digit
    score = rates.confint_poisson_2indep(2, 7, 12, 7, method="score")  # another road: close, not the same
    assert score[1] == pytest.approx(tested.high, rel=0.15)


def test_five_nights_against_five_are_as_sure_as_five_can_be():
    moved = shift(*LEVELS)
    assert moved.p_lower == pytest.approx(1 / math.comb(10, 5), abs=1e-12)
    assert moved.p_lower == pytest.approx(0.003968, abs=1e-6)
    assert [np.median(nights) for nights in LEVELS] == [310, 29]
    assert stats.mannwhitneyu(*LEVELS).statistic == 25


def test_the_hodges_lehmann_shift_is_the_median_of_all_differences():
    moved = shift(*LEVELS)
    assert moved.estimate == np.median([b - a for a in LEVELS[0] for b in LEVELS[1]])


@pytest.mark.parametrize(("n", "m"), [(4, 4), (5, 5), (4, 7), (8, 6)])
def test_the_interval_of_the_shift_is_cut_where_all_partitions_say(n, m):
    """Plain enumeration of U over all partitions of n + m ranks: the textbook definition of the exact interval."""
    random = np.random.default_rng(n * 100 + m)
    before, after = random.normal(50, 4, n), random.normal(40, 4, m)
    u = [sum(sum(1 for a in range(n + m) if a not in chosen and a < b) for b in chosen)
         for chosen in combinations(range(n + m), m)]  # fmt: skip
    below = [np.mean(np.asarray(u) <= k) for k in range(n * m)]
    k = sum(1 for chance in below if chance <= 0.025)
    differences = np.sort((after[:, None] - before[None, :]).ravel())
    moved = shift(before.tolist(), after.tolist())
    assert (moved.low, moved.high) == (differences[k - 1], differences[-k])


def test_the_interval_holds_the_true_shift_as_often_as_it_says():
    random = np.random.default_rng(20250407)
    held = 0
    for _ in range(400):
        moved = shift(random.normal(50, 3, 7).tolist(), random.normal(40, 3, 6).tolist())
        assert moved.low is not None
        assert moved.high is not None
        held += moved.low <= -10 <= moved.high
    # exact coverage for 7 and 6 is 1 - 2 P(U <= 6) = 0.965; three standard errors of 400 trials are 0.028
    assert held / 400 == pytest.approx(0.965, abs=0.028)


# three against three cannot give less than 1/20, four against four 1/70
@pytest.mark.parametrize(("n", "p"), [(3, 0.05), (4, 0.0143), (5, 0.0040)])
def test_the_smallest_p_of_a_few_nights(n, p):
    assert shift([10.0 + i for i in range(n)], [float(i) for i in range(n)]).p_lower == pytest.approx(p, abs=5e-5)


def test_three_nights_against_three_carry_no_interval():
    assert (shift([3, 4, 5], [0, 1, 2]).low, shift([3, 4, 5], [0, 1, 2]).high) == (None, None)


def test_equal_values_never_make_p_too_small():
    """Against the exact p over all partitions with ties in the middle, as the textbook has it."""
    before, after = [30, 30, 31, 29, 30], [30, 29, 29, 28, 29]
    ranks = stats.rankdata([*before, *after])
    sums = np.asarray([sum(chosen) for chosen in combinations(ranks, 5)])
    exact = np.mean(sums <= ranks[5:].sum() + 1e-9)
    assert exact <= shift(before, after).p_lower <= 4 * exact
    assert shift([30], [30]).p_lower == 1.0


def test_clumped_events_are_told_from_independent_ones():
    assert clumped([31, 41, 22, 41], [1, 1, 1, 1]) > 0.05
    assert clumped([60, 0, 0, 75], [1, 1, 1, 1]) < 1e-9
    assert math.isnan(clumped([5], [1]))


@pytest.mark.parametrize("counts", [(3, 7, 0, 7), (1, 7, 0, 7), (5, 4, 1, 2)])
def test_the_further_nights_are_the_fewest_that_suffice(counts):
    before, before_time, after, after_time = counts
    more = further_time(*counts, 0.05)
    assert more is not None
    assert rate_test(before, before_time, after, after_time + more).p_lower < 0.05
    assert rate_test(before, before_time, after, after_time + more - 1).p_lower >= 0.05


def test_one_night_before_asks_for_twenty_after():
    assert further_nights([440], [21], 0.05) == 19  # 1 against 20: p = 1/21
