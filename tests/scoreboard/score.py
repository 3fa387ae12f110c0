"""A score: events found, missed and invented, and the errors of those found; scores add up over logs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Score:
    """One figure over one log, or over many.

    hits, missed, invented   events
    errors                   of what was found, in the figure's unit
    off                      how many of the errors are larger than the figure allows

    >>> both = Score(hits=3, missed=1) + Score(hits=1, invented=1, errors=(0.5,))
    >>> both.recall, both.precision, both.f1
    (0.8, 0.8, 0.8)
    >>> Score().f1  # nothing to find and nothing found: not known, and no zero
    nan
    """

    hits: int = 0
    missed: int = 0
    invented: int = 0
    errors: tuple[float, ...] = ()
    off: int = 0

    def __add__(self, other: Score) -> Score:
        return Score(
            self.hits + other.hits,
            self.missed + other.missed,
            self.invented + other.invented,
            self.errors + other.errors,
            self.off + other.off,
        )

    @property
    def recall(self) -> float:
        """Share of the true events that were found; nan when there are none."""
        return _share(self.hits, self.hits + self.missed)

    @property
    def precision(self) -> float:
        """Share of the findings that are true; nan when there are none."""
        return _share(self.hits, self.hits + self.invented)

    @property
    def f1(self) -> float:
        """Harmonic mean of both: 2·hits / (2·hits + missed + invented); nan when there is nothing at all."""
        return _share(2 * self.hits, 2 * self.hits + self.missed + self.invented)

    @property
    def within(self) -> float:
        """Share of what was to be judged whose error is allowed, what was not found counted as wrong; nan: nothing."""
        return _share(len(self.errors) - self.off, len(self.errors) + self.missed)

    @property
    def is_empty(self) -> bool:
        """Nothing to judge."""
        return not (self.hits or self.missed or self.invented or self.errors)

    def error(self, quantile: float) -> float:
        """Quantile of the absolute errors; nan when there are none."""
        return float(np.quantile(np.abs(self.errors), quantile)) if self.errors else NAN


def total(scores: Iterable[Score]) -> Score:
    """All of them as one."""
    parts = list(scores)
    return Score(
        sum(s.hits for s in parts),
        sum(s.missed for s in parts),
        sum(s.invented for s in parts),
        tuple(e for s in parts for e in s.errors),
        sum(s.off for s in parts),
    )


def of_errors(errors: Iterable[tuple[float, float]], missed: int = 0) -> Score:
    """A score of (error, allowed) pairs, and of so many that gave no figure.

    >>> of_errors([(0.5, 1.0), (-2.0, 1.0)], missed=2).within
    0.25
    """
    pairs = list(errors)
    off = sum(not abs(error) <= allowed for error, allowed in pairs)
    return Score(len(pairs), missed, 0, tuple(error for error, _ in pairs), off)


def _share(part: int, whole: int) -> float:
    return part / whole if whole else NAN
