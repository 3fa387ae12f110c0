"""Rows of several origins → one run in time order, each time once; what one row lacks another of its time may fill."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.base.samples import Floats, Ints


@dataclass(frozen=True, slots=True)
class Run:
    """Samples of strictly increasing time: t_us (n,), float64 (n,) per channel, NaN where there is no reading."""

    t_us: Ints
    channels: dict[str, Floats]

    def __len__(self) -> int:
        return len(self.t_us)

    def __getitem__(self, part: slice) -> Run:
        return Run(self.t_us[part], {name: values[part] for name, values in self.channels.items()})


@dataclass(frozen=True, slots=True)
class Combined:
    """A run, and per row that went in: whether it opened a sample, or only filled readings of one; else a duplicate."""

    run: Run
    opened: npt.NDArray[np.bool_]
    filled: npt.NDArray[np.bool_]

    @property
    def duplicates(self) -> int:
        """Rows that brought nothing new."""
        return int(len(self.opened) - np.count_nonzero(self.opened | self.filled))


def joined(runs: Sequence[Run]) -> Run:
    """Rows of all runs one after the other, in the order given; channels must be the same."""
    if len(runs) == 1:
        return runs[0]
    names = runs[0].channels
    return Run(
        np.concatenate([r.t_us for r in runs]), {n: np.concatenate([r.channels[n] for r in runs]) for n in names}
    )


def combine(rows: Run) -> Combined:
    """Sort rows by time, the earlier arrival first among equals, and make each time one sample.

    The first reading of a channel counts: a later row of the same time only fills what is missing.

    >>> nan = float("nan")
    >>> c = combine(Run(np.array([5, 3, 5]), {"volts": np.array([12.0, 13.0, nan]), "amps": np.array([nan, 1.0, 2.0])}))
    >>> c.run.t_us.tolist(), c.run.channels["amps"].tolist(), c.opened.tolist(), c.filled.tolist(), c.duplicates
    ([3, 5], [1.0, 2.0], [True, True, False], [False, False, True], 0)
    """
    size = len(rows)
    steps = np.diff(rows.t_us)
    if not size or (steps > 0).all():
        return Combined(rows, np.ones(size, np.bool_), np.zeros(size, np.bool_))
    order = np.argsort(rows.t_us, kind="stable")
    t_us = rows.t_us[order]
    starts = np.concatenate([[True], np.diff(t_us) > 0])
    group = np.cumsum(starts) - 1
    opened = np.zeros(size, np.bool_)
    opened[order[starts]] = True
    filled = np.zeros(size, np.bool_)
    channels = {}
    for name, values in rows.channels.items():
        here = values[order]
        has = np.flatnonzero(~np.isnan(here))
        groups, first = np.unique(group[has], return_index=True)
        merged = np.full(int(group[-1]) + 1, np.nan)
        merged[groups] = here[has[first]]
        channels[name] = merged
        filled[order[has[first]]] = True
    return Combined(Run(t_us[starts], channels), opened, filled & ~opened)
