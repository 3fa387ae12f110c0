"""The few tests that prove a repair, as thin wrappers over scipy. Nights are the unit: samples of one night are alike.

Counts    conditional test of two Poisson rates (Przyborowski & Wilenski, Biometrika 31, 1940): given all events, those
          after the repair are binomial. Limits of one rate after Garwood (Biometrika 28, 1936), by chi-square.
Levels    Mann-Whitney, and the Hodges-Lehmann shift with the interval that inverts the same test.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

CONFIDENCE = 0.95
MOST_NIGHTS = 400  # our choice: more than a year of further nights is no answer


@dataclass(frozen=True, slots=True)
class RateTest:
    """Two rates compared; p of chance alone, one-sided.

    ratio         rate after over rate before; None: no event before
    low, high     its exact 95 % interval (Clopper-Pearson on the conditional binomial); None: unbounded
    p_lower       chance of so few events after, were the ratio the tested one
    p_higher      chance of so many
    """

    ratio: float | None
    low: float | None
    high: float | None
    p_lower: float
    p_higher: float


@dataclass(frozen=True, slots=True)
class Shift:
    """Two sets of nights compared: median of all differences after − before, its 95 % interval, one-sided p.

    low, high are None where so few nights carry no such interval.
    """

    estimate: float
    low: float | None
    high: float | None
    p_lower: float
    p_higher: float


def rate_test(before: int, before_time: float, after: int, after_time: float, ratio: float = 1.0) -> RateTest:
    """Conditional test of `after` events in `after_time` against `before` in `before_time`, times in one unit.

    Tested: the rate after is `ratio` times that before. Without any event nothing is shown, p is 1.

    >>> round(rate_test(3, 7, 0, 7).p_lower, 4), round(rate_test(3, 7, 0, 14).p_lower, 4)
    (0.125, 0.037)
    """
    from scipy.stats import binomtest

    events = before + after
    if events == 0:
        return RateTest(None, None, None, 1.0, 1.0)
    share = ratio * after_time / (before_time + ratio * after_time)
    low, high = binomtest(after, events).proportion_ci(CONFIDENCE, method="exact")
    scale = before_time / after_time
    return RateTest(
        after / before * scale if before else None,
        float(low / (1 - low) * scale) if low < 1 else None,
        float(high / (1 - high) * scale) if high < 1 else None,
        float(binomtest(after, events, share, alternative="less").pvalue),
        float(binomtest(after, events, share, alternative="greater").pvalue),
    )


def rate_limits(events: int, time: float) -> tuple[float, float]:
    """Exact 95 % limits of a Poisson rate, two-sided.

    >>> [round(x, 3) for x in rate_limits(3, 1)]
    [0.619, 8.767]
    """
    from scipy.stats import chi2

    tail = (1 - CONFIDENCE) / 2
    low = float(chi2.ppf(tail, 2 * events)) / 2 if events else 0.0
    return low / time, float(chi2.ppf(1 - tail, 2 * events + 2)) / 2 / time


def rate_upper(events: int, time: float) -> float:
    """95 % upper limit of a Poisson rate, one-sided; for no event the exact form of the rule of three.

    >>> round(rate_upper(0, 10), 4)
    0.2996
    """
    from scipy.stats import chi2

    return float(chi2.ppf(CONFIDENCE, 2 * events + 2)) / 2 / time


def share_upper(hits: int, nights: int) -> float:
    """95 % upper limit of the share of nights on which something shows (Clopper-Pearson, one-sided).

    >>> round(share_upper(0, 10), 4)
    0.2589
    """
    from scipy.stats import binomtest

    return float(binomtest(hits, nights, alternative="less").proportion_ci(CONFIDENCE, method="exact").high)


def quiet_nights(share: float, confidence: float = CONFIDENCE) -> int:
    """Quiet nights after which a fault that shows on `share` of all nights would have shown with `confidence`.

    >>> [quiet_nights(share) for share in (1.0, 0.5, 0.3, 0.2, 0.1)]
    [1, 5, 9, 14, 29]
    """
    return 1 if share >= 1 else math.ceil(math.log(1 - confidence) / math.log(1 - share))


def clumped(counts: Sequence[int], times: Sequence[float]) -> float:
    """p of the index of dispersion: small when counts differ more from night to night than independent events do.

    `counts` in `times` (one unit); NaN with fewer than two nights or no event.

    >>> clumped([30, 0, 28, 1], [1, 1, 1, 1]) < 0.001
    True
    """
    from scipy.stats import chisquare

    if len(counts) < 2 or not sum(counts):
        return math.nan
    observed, weight = np.asarray(counts, float), np.asarray(times, float)
    return float(chisquare(observed, observed.sum() * weight / weight.sum()).pvalue)


def shift(before: Sequence[float], after: Sequence[float]) -> Shift:
    """Mann-Whitney test and Hodges-Lehmann shift of `after` against `before`; both hold at least one value.

    >>> moved = shift([310, 295, 330, 305, 318], [28, 31, 27, 30, 29])
    >>> moved.estimate, round(moved.p_lower, 6)
    (-281.0, 0.003968)
    """
    a, b = np.asarray(before, float), np.asarray(after, float)
    differences = np.sort((b[:, None] - a[None, :]).ravel())
    low, high = _shift_interval(a, b, differences)
    return Shift(float(np.median(differences)), low, high, _rank_p(a, b, "less"), _rank_p(a, b, "greater"))


def _rank_p(before: Any, after: Any, alternative: str) -> float:
    """Exact p of Mann-Whitney; equal values on both sides count against the alternative, so p is never too small."""
    from scipy.stats import mannwhitneyu, rankdata

    ranks = rankdata(np.concatenate([before, after]), "dense").astype(float)
    old, new = ranks[: len(before)], ranks[len(before) :] + (0.5 if alternative == "less" else -0.5)
    return float(mannwhitneyu(new, old, alternative=alternative, method="exact").pvalue)


def _shift_interval(before: Any, after: Any, differences: Any) -> tuple[float | None, float | None]:
    """The shifts that the two-sided test does not refuse: from the k-th smallest to the k-th largest difference."""
    k = _cut(len(before), len(after))
    return (float(differences[k - 1]), float(differences[-k])) if k else (None, None)


@cache
def _cut(n: int, m: int) -> int:
    """How many values of U, from 0 on, are too small for chance with n and m values without ties; by scipy's own p."""
    from scipy.stats import mannwhitneyu

    def p_of(u: int) -> float:
        above, one = divmod(u, n)  # values that have this U: so many above all n, one above `one` of them, others below
        after = [n + float(j) for j in range(above)] + [one - 0.5] * (one > 0)
        after += [-1.0 - j for j in range(m - len(after))]
        return float(mannwhitneyu(after, np.arange(n), alternative="less", method="exact").pvalue)

    return bisect_right(range(n * m // 2), (1 - CONFIDENCE) / 2, key=p_of)


def further_time(before: int, before_time: float, after: int, after_time: float, alpha: float) -> int | None:
    """Further quiet units of time until the conditional test falls below `alpha`; None: not within MOST_NIGHTS.

    >>> further_time(3, 7, 0, 7, 0.05), further_time(5, 7, 0, 7, 0.05)
    (6, 0)
    """
    from scipy.stats import binomtest

    def enough(more: int) -> bool:
        share = (after_time + more) / (before_time + after_time + more)
        return before > 0 and float(binomtest(after, before + after, share, alternative="less").pvalue) < alpha

    more = bisect_left(range(MOST_NIGHTS + 1), True, key=enough)  # p only falls as quiet time goes on
    return more if more <= MOST_NIGHTS else None


def further_nights(before: Sequence[float], after: Sequence[float], alpha: float) -> int | None:
    """Further nights, each below all of those before, until Mann-Whitney falls below `alpha`; None as above.

    >>> further_nights([310, 295, 330], [28, 31, 27], 0.05)
    1
    """
    lowest = min([*before, *after])
    nights = list(after)
    for more in range(MOST_NIGHTS + 1):
        if nights and _rank_p(np.asarray(before, float), np.asarray(nights, float), "less") < alpha:
            return more
        nights.append(lowest - 1.0 - more)
    return None
