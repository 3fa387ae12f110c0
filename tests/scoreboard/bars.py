"""Bars: how many of n fresh logs may miss a figure before the engine has become worse than it was measured.

A figure is judged log by log, since the mistakes of one log come together. Of `judged` measured logs `missed` did not
keep it; the true share of such logs is then, with 99 % confidence, not above the Clopper-Pearson bound; and with that
share the number among n new logs exceeds the bar with the chance given by the binomial distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

CONFIDENCE = 0.99
FALSE_ALARM = 1e-3  # chance that a whole run fails by chance; shared among its figures


@dataclass(frozen=True, slots=True)
class Measured:
    """How many logs did not keep a figure, of how many that had something to judge."""

    missed: int
    judged: int


@dataclass(frozen=True, slots=True)
class Run:
    """How many logs of how many days each are judged."""

    logs: int
    days: float


def most_missed(measured: Measured, logs: int, figures: int) -> int:
    """The bar: so many of `logs` new ones may miss the figure, in a run that judges so many figures.

    >>> most_missed(Measured(0, 200), logs=24, figures=20)
    5
    >>> most_missed(Measured(50, 200), logs=24, figures=20)
    17
    """
    from scipy.stats import beta, binom

    share = 1.0
    if measured.missed < measured.judged:
        share = float(beta.ppf(CONFIDENCE, measured.missed + 1, measured.judged - measured.missed))
    return int(binom.ppf(1 - FALSE_ALARM / figures, logs, share))
