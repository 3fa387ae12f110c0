"""The interval of the sleep current against scipy, and its coverage on series whose autocorrelation is known.

Batch means: Law & Kelton, Simulation Modeling and Analysis (from memory). The variance of the mean of a stationary
AR(1) series x[k] = φ·x[k−1] + e of n values is σ²/n · (1+φ)/(1−φ) for long n (any textbook of time series).
"""

import numpy as np
import pytest
from scipy import stats
from scipy.signal import lfilter

from monitor.base.samples import SECOND_US, Block
from monitor.detect.held import BATCHES, Held
from monitor.detect.sleep import T95, interval
from monitor.detect.texture import Texture
from tests.published.traces import SEEDS, T0_S, replayed

LEVEL_A, SPREAD_A = 0.030, 0.001
SERIES = 400


def held_of(means: np.ndarray) -> Held:
    """A plateau with these frame means, ten minutes each, and noise enough that no logger's step hides anything."""
    held = Held(0, 600 * len(means), LEVEL_A, Texture(noise_a=SPREAD_A))
    for mean in means:
        held.add(float(mean), 600.0, 12.6)
    return held


def ar1(random: np.random.Generator, phi: float, shape: tuple[int, int]) -> np.ndarray:
    """Stationary AR(1) series, one a row, of standard deviation SPREAD_A about LEVEL_A."""
    shocks = SPREAD_A * np.sqrt(1 - phi**2) * random.standard_normal(shape)
    shocks[:, 0] /= np.sqrt(1 - phi**2)
    series: np.ndarray = LEVEL_A + lfilter([1.0], [1.0, -phi], shocks, axis=1)
    return series


def test_the_tabulated_quantiles_are_students() -> None:
    assert pytest.approx(stats.t.ppf(0.975, np.arange(1, 11)), abs=0.005) == T95


@pytest.mark.parametrize("n", [4, 8, 11, 12, 20, BATCHES])
def test_the_interval_of_independent_batches_is_scipys_t_interval(n: int) -> None:
    means = LEVEL_A + SPREAD_A * np.random.default_rng(SEEDS[0]).standard_normal(n)
    low, high = interval(held_of(means), 0.0)
    theirs = stats.t.interval(0.95, n - 1, loc=means.mean(), scale=stats.sem(means))
    assert (low + high) / 2 == pytest.approx(means.mean(), abs=1e-12)
    # beyond ten degrees of freedom 1.96 + 2.5/ν stands for Student's quantile: at eleven it is 0.62 % off, then less
    assert high - low == pytest.approx(theirs[1] - theirs[0], rel=0.0065)


def test_batches_that_are_merged_are_the_means_of_consecutive_frames() -> None:
    frames = LEVEL_A + SPREAD_A * np.random.default_rng(SEEDS[1]).standard_normal(251)
    held = held_of(frames)
    assert 4 < len(held.means) <= BATCHES
    assert held.mean_a() == pytest.approx(frames.mean(), abs=1e-12)
    sizes = np.round(np.array(held.weights) / 600).astype(int)
    ends = np.cumsum(sizes)
    assert ends[-1] + len(held.waiting) == len(frames)
    expected = [frames[end - size : end].mean() for end, size in zip(ends, sizes, strict=True)]
    assert held.means == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.8])
def test_the_interval_covers_ar1_series_as_often_as_theory_says(phi: float) -> None:
    # 256 frames end as batches of 4 or more. For a remaining correlation r between neighbouring batches the true
    # variance of the mean is about (1+r)/(1−r) times what batches show, and coverage falls from 95 % to
    # P(|z| < 1.96·√((1−r)/(1+r))): 95, 89 and 70 % here. φ is that of ten-minute means: 0.5 is a current that wanders
    # for a quarter of an hour. What is faster than that is covered (see the nights below).
    frames = 256
    series = ar1(np.random.default_rng(SEEDS[2]), phi, (SERIES, frames))
    held = [held_of(row) for row in series]
    size = held[0].per_batch
    powers = phi ** np.arange(1, size)
    variance = 1 / size + 2 / size**2 * float(((size - np.arange(1, size)) * powers).sum())
    between = phi * ((1 - phi**size) / (1 - phi)) ** 2 / size**2
    r = between / variance
    theory = 2 * stats.norm.cdf(1.96 * np.sqrt((1 - r) / (1 + r))) - 1
    inside = [low <= LEVEL_A <= high for low, high in (interval(h, 0.0) for h in held)]
    # share among SERIES: binomial, four standard errors
    error = 4 * np.sqrt(theory * (1 - theory) / SERIES)
    assert np.mean(inside) == pytest.approx(theory, abs=error)
    assert theory == pytest.approx({0.0: 0.95, 0.5: 0.89, 0.8: 0.70}[phi], abs=0.02)


def test_an_interval_that_took_correlated_readings_for_independent_ones_would_not_cover() -> None:
    # the twin that must fail: s/√n of single readings at φ = 0.8 is three times too narrow
    series = ar1(np.random.default_rng(SEEDS[2]), 0.8, (SERIES, 256))
    half = 1.97 * series.std(axis=1, ddof=1) / 16
    assert np.mean(np.abs(series.mean(axis=1) - LEVEL_A) <= half) < 0.70


@pytest.mark.parametrize("hz", [0.2, 1.0])
def test_the_interval_of_a_night_covers_its_level(hz: float) -> None:
    # whole nights through the engine: readings with AR(1) noise of 10 s, twelve hours, forty nights. 95 % and more is
    # promised (half a logger's step is added, which no noise-free series needs), so at most the 99.99 % point of a
    # binomial of 5 % may miss.
    nights = 40
    phi = float(np.exp(-1 / (10 * hz)))
    n = int(12 * 3600 * hz)
    series = ar1(np.random.default_rng(SEEDS[0]), phi, (nights, n))
    t_us = T0_S * SECOND_US + (np.arange(n) * SECOND_US / hz).astype(np.int64)
    missed = 0
    for row in series:
        stand = replayed(Block(t_us, np.full(n, 12.6), -row)).stands[0]
        assert stand.sleep_current_low_a is not None
        assert stand.sleep_current_high_a is not None
        missed += not stand.sleep_current_low_a <= LEVEL_A <= stand.sleep_current_high_a
    assert missed <= stats.binom.ppf(0.9999, nights, 0.05)
