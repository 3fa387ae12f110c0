"""Samples → mean, lowest and highest of each step of data time, the same however the samples arrived.

A step is a whole number of seconds, counted from 1970. Each second is summed up once, whole; a step is told when its
last second is there, or one of a later step. So a step that is made again, after a crash or from a second reading, is
the identical point. Warm-up: none. A gap leaves out the steps that hold no sample.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from monitor.base.samples import SECOND_US, Block, Floats, Ints

CHANNELS = ("volts", "amps", "celsius")
DIGITS = 6  # of a mean, in V, A and °C; our choice: a thousandth of what a logger resolves
PER_CHANNEL = 4  # columns of a second: number of values, sum, lowest, highest


@dataclass(slots=True)
class StepState:
    """Whole seconds of the step that is not yet whole: `second` int64 (n,), `sums` float64 (n, 12), or flat."""

    second: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    sums: Floats = field(default_factory=lambda: np.empty((0, PER_CHANNEL * len(CHANNELS))))


class Steps:
    """Sums samples up over steps of `step_s` whole seconds.

    >>> steps = Steps(10)
    >>> at = np.arange(0, 21) * SECOND_US
    >>> t_us, fields = steps.update(Block(at, np.arange(21.0)))
    >>> t_us.tolist(), fields["volts"].tolist(), fields["volts_max"].tolist()
    ([0, 10000000], [4.5, 14.5], [9.0, 19.0])
    """

    def __init__(self, step_s: int) -> None:
        self.step_s = step_s
        self.state = StepState()

    def update(self, samples: Block) -> tuple[Ints, Mapping[str, Floats]]:
        """Take the samples of whole seconds; starts in µs of the steps that are whole now, and their fields."""
        second, sums = _seconds(samples)
        second = np.concatenate([self.state.second, second])
        sums = np.concatenate([self.state.sums.reshape(-1, sums.shape[1]), sums])  # flat when restored
        step = second // self.step_s
        whole = int(np.searchsorted(step, (second[-1] + 1) // self.step_s)) if len(step) else 0
        self.state = StepState(second[whole:].copy(), sums[whole:].copy())
        step, sums = step[:whole], np.ascontiguousarray(sums[:whole].T)
        if not whole:
            return np.empty(0, np.int64), {}
        starts = _starts(step)
        fields: dict[str, Floats] = {}
        for number, name in enumerate(CHANNELS):
            count, total, low, high = sums[PER_CHANNEL * number : PER_CHANNEL * (number + 1)]
            values = np.add.reduceat(count, starts)
            mean = np.add.reduceat(total, starts) / np.where(values > 0, values, np.nan)
            fields[name] = np.round(mean, DIGITS)
            if name != "celsius":
                fields[f"{name}_min"] = np.fmin.reduceat(low, starts)
                fields[f"{name}_max"] = np.fmax.reduceat(high, starts)
        return step[starts] * self.step_s * SECOND_US, fields


def _seconds(samples: Block) -> tuple[Ints, Floats]:
    """Each second that holds samples, and its sums, shape (n, 12)."""
    second = samples.t_us // SECOND_US
    starts = _starts(second)
    sums = np.full((len(starts), PER_CHANNEL * len(CHANNELS)), np.nan)
    for number, name in enumerate(CHANNELS):
        values: Floats | None = getattr(samples, name)
        column = PER_CHANNEL * number
        if values is None or not len(starts):
            sums[:, column : column + 2] = 0.0
            continue
        known = ~np.isnan(values)
        sums[:, column] = np.add.reduceat(known.astype(np.float64), starts)
        sums[:, column + 1] = np.add.reduceat(np.where(known, values, 0.0), starts)
        sums[:, column + 2] = np.fmin.reduceat(values, starts)
        sums[:, column + 3] = np.fmax.reduceat(values, starts)
    return second[starts], sums


def _starts(sorted_values: Ints) -> Ints:
    """Index of the first of each run of equal values."""
    if not len(sorted_values):
        return np.empty(0, np.int64)
    return np.concatenate([[0], np.flatnonzero(np.diff(sorted_values)) + 1])
