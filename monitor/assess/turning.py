"""How long the starter turns: what tells a weak battery from a joint where both make the volts fall alike.

A battery that cannot give its current turns the engine slowly. Volts that fall as far at a place behind a joint that
the starter's current does not need start it as quickly as ever. Cranks of 0.5 to 1.5 s are good (workshop manuals and
common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean

from monitor.assess.evidence import graded
from monitor.assess.resistance import UNKNOWN_C
from monitor.base.results import BOUND_HZ, Crank

# Cold oil makes any engine turn longer: nearly twice as long at -18 °C as at 20 °C (from memory).
WARM_C, COLD_PER_K = 20.0, 0.02
# Quick is -1, slow is 1. Our choice: nothing is said a quarter of a second above the longest good one.
BY_LENGTH_S = ((1.45, -1.0), (1.75, 0.0), (2.05, 1.0))
# Cranks of a slow logger that agree count in full: one is up to a second off, three are 0.1 to 0.35 s (a standard
# deviation, found by cutting cranks of 0.5 to 3.5 s into seconds).
SEVERAL = 3


@dataclass(frozen=True, slots=True)
class Turned:
    """One crank: its length, what that would be, least and most, with a warm engine, and whether samples bound it."""

    length_s: float
    least_s: float
    most_s: float
    exact: bool


def turned(crank: Crank) -> Turned | None:
    """How long the starter turned; None where the log does not tell."""
    by_samples = crank.sampled_hz is None or crank.sampled_hz >= BOUND_HZ
    length_s = crank.duration_s if by_samples else crank.turned_s
    if length_s is None:
        return None
    low_c, high_c = (UNKNOWN_C, WARM_C) if crank.celsius is None else (crank.celsius, crank.celsius)
    least_s, most_s = (length_s / (1.0 + COLD_PER_K * max(WARM_C - celsius, 0.0)) for celsius in (low_c, high_c))
    return Turned(length_s, least_s, most_s, by_samples)


def slowness(cranks: Sequence[Turned]) -> float | None:
    """From -1, quick, to 1, slow; 0 where it may be either; None without cranks.

    >>> slowness([Turned(3.0, 3.0, 3.0, True)]), slowness([Turned(3.0, 3.0, 3.0, False)])
    (1.0, 0.5)
    >>> slowness([Turned(2.4, 1.4, 1.4, True)]), slowness([Turned(1.9, 1.5, 1.9, True)])
    (-1.0, 0.0)
    """
    if not cranks:
        return None
    at_least = graded(mean(crank.least_s for crank in cranks), BY_LENGTH_S)
    at_most = graded(mean(crank.most_s for crank in cranks), BY_LENGTH_S)
    slow = max(at_least, 0.0) + min(at_most, 0.0)
    if not all(crank.exact for crank in cranks):
        slow *= min(1.0, (len(cranks) + 1) / (SEVERAL + 1))
    return slow
