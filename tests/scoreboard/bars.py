"""Bars: how many of n fresh logs may miss a figure before the engine has become worse than it was measured.

A figure is judged log by log, since the mistakes of one log come together. Of `judged` measured logs `missed` did not
keep it; how many of n new ones will not is then beta-binomial (the predictive distribution of a binomial share, with
Jeffreys' prior: Gelman et al., Bayesian Data Analysis, from memory). The bar is its far quantile.
"""

from __future__ import annotations

from dataclasses import dataclass

FALSE_ALARM = 1e-3  # chance that a whole run fails by chance; shared among its figures
PRIOR = 0.5  # Jeffreys


@dataclass(frozen=True, slots=True)
class Measured:
    """How many logs did not keep a figure, of how many that had something to judge."""

    missed: int
    judged: int


def most_missed(measured: Measured, logs: int, figures: int) -> int:
    """The bar: so many of `logs` new ones may miss the figure, in a run that judges so many figures.

    >>> most_missed(Measured(0, 200), logs=24, figures=20)
    3
    >>> most_missed(Measured(50, 200), logs=24, figures=20)
    16
    """
    from scipy.stats import betabinom

    kept = measured.judged - measured.missed
    return int(betabinom.ppf(1 - FALSE_ALARM / figures, logs, measured.missed + PRIOR, kept + PRIOR))
