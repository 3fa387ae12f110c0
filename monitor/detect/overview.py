"""What the log itself is: first and last sample, channels, rate, gaps.

The rate is the median over seconds: samples in a second, or on slower loggers the interval to the second before.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from monitor.base.fields import Span
from monitor.base.results import Log, Rate
from monitor.base.samples import SECOND_US, Ints, Seconds

KEPT_GAPS = 10_000  # gaps listed; all count in the unobserved time
FASTEST = 4096  # samples a second told apart
SLOWEST = 4096  # seconds between samples told apart


@dataclass(slots=True)
class OverviewState:
    """Counters over the whole log."""

    first_us: int | None = None
    last_us: int | None = None
    samples: int = 0
    gap_us: int = 0
    gaps: list[tuple[int, int]] = field(default_factory=list)
    with_volts: bool = False
    with_amps: bool = False
    with_celsius: bool = False
    fast: dict[int, int] = field(default_factory=dict)
    slow: dict[int, int] = field(default_factory=dict)
    last_s: int | None = None


class Overview:
    """Counts as the log passes."""

    def __init__(self) -> None:
        self.state = OverviewState()

    def update(self, seconds: Seconds, first_us: int, last_us: int, gaps: list[tuple[int, int]]) -> None:
        """Add whole seconds, the times of their first and last sample, and the gaps that end in them."""
        state = self.state
        state.first_us = first_us if state.first_us is None else state.first_us
        state.last_us = last_us
        state.samples += int(seconds.count.sum())
        state.gap_us += int(seconds.gap_us.sum())
        state.gaps += gaps[: KEPT_GAPS - len(state.gaps)]
        state.with_volts = state.with_volts or bool(np.isfinite(seconds.volts).any())
        state.with_amps = state.with_amps or bool(np.isfinite(seconds.amps).any())
        state.with_celsius = state.with_celsius or bool(np.isfinite(seconds.celsius).any())
        _count(state.fast, np.minimum(seconds.count, FASTEST))
        before = seconds.second[:1] if state.last_s is None else np.array([state.last_s])
        steps = np.diff(np.concatenate([before, seconds.second]))
        _count(state.slow, np.minimum(steps[steps > 0], SLOWEST))
        state.last_s = int(seconds.second[-1])

    def log(self) -> Log:
        """The log part of the result document, as far as the samples tell it."""
        state = self.state
        seen = (state.with_volts, state.with_amps, state.with_celsius)
        names: tuple[Literal["volts", "amps", "celsius"], ...] = ("volts", "amps", "celsius")
        return Log(
            first=state.first_us,
            last=state.last_us,
            samples=state.samples,
            gaps=[Span(start=a, end=b) for a, b in state.gaps],
            unobserved_s=state.gap_us / SECOND_US,
            channels=[name for name, there in zip(names, seen, strict=True) if there],
            rate_hz=Rate(median=self._median_hz(), max=self._max_hz()),
        )

    def _median_hz(self) -> float | None:
        count, interval = _median(self.state.fast), _median(self.state.slow)
        if count is None or self.state.samples < 2:
            return None
        if count > 1:
            return float(count)
        return 1.0 / interval if interval else None

    def _max_hz(self) -> float | None:
        most = max(self.state.fast, default=0)
        if most > 1:
            return float(most)
        return 1.0 / min(self.state.slow) if self.state.slow else None


def _count(table: dict[int, int], values: Ints) -> None:
    counted = np.bincount(values)
    for value in np.flatnonzero(counted).tolist():
        table[value] = table.get(value, 0) + int(counted[value])


def _median(table: dict[int, int]) -> int | None:
    total, passed = sum(table.values()), 0
    for value in sorted(table):
        passed += table[value]
        if 2 * passed >= total:
            return value
    return None
