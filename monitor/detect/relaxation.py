"""Relaxation of a resting battery's voltage, separated from the straight decay that a drain causes.

Model: v(t) = ocv − slope·(t − end) + fast + b·exp(−t/slow) + k·(celsius − celsius at the end) + steps. Exponentials and
line are the form of a resting Randles battery with its bulk capacitor (Csomós, Fodor and Kohlrusz, Hung. J. Ind. Chem.
45(1) 67-71, 2017). The time constants of starter batteries are not published; trade practice is 5-30 min and 2-8 h. The
fast part is a mixture of three fixed exponentials, within 3 % of its start of any between them. A load within
the rest, somebody at the vehicle, takes charge off the plates: before it all volts may lie higher, by a step. For the
slow one, each time constant on a grid is fitted by linear least squares with weak priors, and they are averaged by how
well they explain the data: what cannot be told apart comes out as a wide interval, not as a confident number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.base.samples import Floats

FAST_H = np.array([5.0, 13.0, 33.0]) / 60
SLOW_H = np.geomspace(1.5, 10.0, 15)  # our choice: steps of 1.15 times, over 2-8 h and a little more

# Priors (standard deviations, for a 12 V battery). The first three are our choice: wider than what resting starter
# batteries show, so they only stop two nearly equal columns of the fit from growing against each other.
PRIOR_FAST_V = 0.3
PRIOR_SLOW_V = 0.15
PRIOR_SLOPE_V_PER_H = 0.02  # 1.6 A on 60 Ah
PRIOR_STEP_V = 0.03  # our choice: half an ampere-hour takes so much off a battery that was just charged
MOST_STEPS = 3  # our choice: more visits in one rest are a rare rest; the last are the ones that count
# Expected temperature coefficient 0: sources disagree even in sign. Its doubt: 0.2-0.3 mV/K a cell in handbooks on the
# electrochemistry (from memory).
PRIOR_TEMPERATURE_V_PER_K = 0.0015

LEAST_POINTS = 8  # our choice; the priors carry the parameters that so few points do not
REJECTING_POINTS = 30  # our choice: among fewer points an outlier cannot be told from the course
# A battery does not follow the model exactly: our choice, 0.3 mV that wanders from half hour to half hour. With it the
# 95 % intervals held 97-99 % of simulated truths, with 0.2 mV only 91 %; and what one night of volts can show comes out
# at the trade's 250-500 mA.
MODEL_SIGMA_V = 0.0003
MODEL_WANDERS_H = 0.5
OUTLIER_SIGMAS = 4.0  # our choice: a minute this far off is an event, not rest
BLOCK_H = 1.0  # our choice
MOST_BLOCKS = 24
FREE = 4  # parameters that follow the data freely; their number is missing from the residuals
TWO_SIDED_95 = 1.96


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted rest, at its last moment; half widths are 95 %.

    ocv_v, ocv_half_v                    voltage there with all relaxation gone, V
    slope_v_per_h, slope_half_v_per_h    decay without relaxation, positive when falling, V/h
    drift_v_per_h, drift_half_v_per_h    relaxation left at the end, positive when rising, V/h
    rms_v                                scatter of the kept points about the best course, V
    """

    ocv_v: float
    ocv_half_v: float
    slope_v_per_h: float
    slope_half_v_per_h: float
    drift_v_per_h: float
    drift_half_v_per_h: float
    rms_v: float


def fit_rest(
    hours: Floats,
    volts: Floats,
    weights: Floats,
    celsius: Floats | None = None,
    scale: float = 1.0,
    loads_h: Sequence[float] = (),
) -> Fit | None:
    """Fit relaxation and decay; None with fewer than LEAST_POINTS points.

    hours     shape (n,), rising, 0 where the relaxation began
    volts     shape (n,), V
    weights   shape (n,), how many minutes each point stands for
    celsius   shape (n,), °C; None where unknown
    scale     nominal volts / 12
    loads_h   when loads within the rest began, h
    """
    if len(hours) < LEAST_POINTS:
        return None
    middle = float(np.median(volts))  # fitted on small numbers, put back at the end
    courses = _Courses(hours, volts - middle, celsius, scale, _steps(hours, loads_h))
    even = weights / weights.max()
    keep = courses.keep(even)
    if np.count_nonzero(keep) < LEAST_POINTS:
        return None
    return courses.averaged(even * keep, middle)


def _steps(hours: Floats, loads_h: Sequence[float]) -> list[Floats]:
    """A column for each of the last loads with rest on both sides: 1 before it, 0 behind it."""
    last = [before for at_h in loads_h[-MOST_STEPS:] if (before := hours < at_h).any() and not before.all()]
    apart = [before for k, before in enumerate(last) if not any(np.array_equal(before, other) for other in last[:k])]
    return [before.astype(np.float64) for before in apart]


class _Courses:
    """The courses of all slow time constants: their columns share one matrix, so its products are formed once.

    Columns: 1, end − t, celsius − celsius at the end, the fast exponentials, the steps, the slow exponentials.
    """

    def __init__(self, hours: Floats, y: Floats, celsius: Floats | None, scale: float, steps: Sequence[Floats]) -> None:
        self.hours, self.y = hours, y
        heat = np.zeros(len(hours)) if celsius is None else celsius - celsius[-1]
        fast, slow = ([np.exp(-hours / tau) for tau in taus] for taus in (FAST_H, SLOW_H))
        self.columns = np.stack((np.ones(len(hours)), hours[-1] - hours, heat, *fast, *steps, *slow), axis=1)
        common = 3 + len(FAST_H) + len(steps)
        self.picks = np.array([[*range(common), common + slow] for slow in range(len(SLOW_H))])
        deviations = [PRIOR_SLOPE_V_PER_H, PRIOR_TEMPERATURE_V_PER_K, *[PRIOR_FAST_V] * len(FAST_H)]
        deviations += [*[PRIOR_STEP_V] * len(steps), PRIOR_SLOW_V]
        self.prior = np.concatenate(([0.0], (scale * np.array(deviations)) ** -2))
        self.least_variance = (MODEL_SIGMA_V * scale) ** 2

    def solve(self, weights: Floats, variance: float) -> tuple[Floats, Floats, Floats]:
        """Parameters (s, k), covariances (s, k, k) and weighted squares of the residuals (s,), per slow constant."""
        weighted = self.columns * weights[:, None]
        gram = weighted.T @ self.columns
        right = (weighted.T @ self.y)[self.picks]
        grams = gram[self.picks[:, :, None], self.picks[:, None, :]]
        covariance = np.linalg.inv(grams / variance + np.diag(self.prior))
        found = (covariance @ right[:, :, None])[:, :, 0] / variance
        curved = (found[:, None, :] @ grams @ found[:, :, None])[:, 0, 0]
        squares = float(np.sum(weights * self.y**2)) - 2 * np.sum(found * right, axis=1) + curved
        return found, covariance, np.maximum(squares, 0.0)

    def residuals(self, slow: int, found: Floats) -> Floats:
        """What the course of one slow constant leaves of all points, shape (n,)."""
        return np.asarray(self.y - self.columns[:, self.picks[slow]] @ found[slow])

    def keep(self, even: Floats) -> npt.NDArray[np.bool_]:
        """Points that belong to the rest: near the course that most of them follow (least absolute residuals)."""
        if len(even) < REJECTING_POINTS:
            return np.ones(len(even), bool)
        weights = even
        smallest = np.sqrt(self.least_variance)
        off = self.y
        for _ in range(4):
            found, _, squares = self.solve(weights, self.least_variance)
            off = self.residuals(int(np.argmin(squares)), found)
            weights = even * smallest / np.maximum(np.abs(off), smallest)
        spread = max(1.4826 * float(np.median(np.abs(off))), float(smallest))
        return np.asarray(np.abs(off) <= OUTLIER_SIGMAS * spread)

    def averaged(self, weights: Floats, middle: float) -> Fit:
        """Average over all courses, each weighted by its evidence given the scatter that the best one leaves."""
        found, _, squares = self.solve(weights, self.least_variance)
        off = self.residuals(int(np.argmin(squares)), found)[weights > 0]
        scatter = float(np.mean(off**2))
        variance = self._variance(off)

        found, covariance, squares = self.solve(weights, variance)
        misfit = squares / variance + np.sum(self.prior * found**2, axis=1)
        evidence = -0.5 * misfit + 0.5 * np.linalg.slogdet(covariance)[1]
        share = np.exp(evidence - evidence.max())
        share /= share.sum()

        end = self.hours[-1]
        pick = np.zeros((len(SLOW_H), 3, len(self.prior)))
        pick[:, 0, 0] = pick[:, 1, 1] = 1.0
        pick[:, 2, 3 : 3 + len(FAST_H)] = -np.exp(-end / FAST_H) / FAST_H
        pick[:, 2, -1] = -np.exp(-end / SLOW_H) / SLOW_H
        each = (pick @ found[:, :, None])[:, :, 0]
        spread = np.diagonal(pick @ covariance @ pick.transpose(0, 2, 1), axis1=1, axis2=2)
        mean = share @ each
        half = TWO_SIDED_95 * np.sqrt(share @ (spread + (each - mean) ** 2))
        ocv, slope, drift = zip(mean.tolist(), half.tolist(), strict=True)
        return Fit(middle + ocv[0], ocv[1], *slope, *drift, scatter**0.5)

    def _variance(self, off: Floats) -> float:
        """Variance to give a point: its scatter, larger where neighbours err alike, and never below the model's own.

        How far errors hang together shows in the means of blocks (batch means); a coarse resolution, a staircase over
        hours, is told by nothing shorter.
        """
        step_h = float(np.median(np.diff(self.hours)))
        size = max(round(BLOCK_H / step_h), len(off) // MOST_BLOCKS, 1)
        count = len(off) // size
        blocks = off[: count * size].reshape(count, size).mean(axis=1)
        apart = float(np.sum(off**2)) / max(len(off) - FREE, 1)
        together = size * float(np.sum(blocks**2)) / max(count - FREE, 1) if count > FREE else apart
        wandering = self.least_variance * max(1.0, 2 * MODEL_WANDERS_H / step_h)
        return max(apart, together) + wandering
