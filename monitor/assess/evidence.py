"""Evidence: what was observed, in words with its numbers, and how far it moves each cause.

Each observation adds to a cause's log-odds (natural logarithm of its likelihood ratio), as independent evidence does by
Bayes' rule; the sum turned into a probability is how sure the program is of that cause. Several causes may hold at
once, so each has a probability of its own and they do not share one. Observations of one thing are one observation:
nights of one drain do not vote twice.

Likelihood ratios are put in words after Jeffreys (Theory of Probability, 1961; from memory): 3.2, 10, 32, 100. Which
step an observation earns is our choice, said beside each.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import exp, log
from typing import Literal

import numpy as np

Fault = Literal["drain", "battery", "charging", "usage", "connection"]
FAULTS: tuple[Fault, ...] = ("drain", "charging", "battery", "connection", "usage")  # of two alike, the first leads

SOME = log(3.2)
STRONG = log(10.0)
VERY_STRONG = log(32.0)
DECISIVE = log(100.0)

# Before any evidence each fault has odds of 1 to 5. Our choice: someone who logs has a reason to, so none is rare, but
# no single one may be named on some evidence alone.
PRIOR = log(1 / 5)


@dataclass(frozen=True, slots=True)
class Observation:
    """One thing observed.

    text     what it is, a whole sentence with its numbers
    moves    log-odds it adds to each cause it bears on: positive for, negative against
    """

    text: str
    moves: Mapping[Fault, float] = field(default_factory=dict)


def graded(value: float, table: Sequence[tuple[float, float]]) -> float:
    """Log-odds read from (value, log-odds) rows by straight lines; the ends are held.

    >>> graded(1.5, ((1.0, 0.0), (2.0, 3.0))), graded(9.0, ((1.0, 0.0), (2.0, 3.0)))
    (1.5, 3.0)
    """
    return float(np.interp(value, [v for v, _ in table], [w for _, w in table]))


def probability(fault: Fault, evidence: Iterable[Observation]) -> float:
    """How sure the evidence makes this fault, 0 to 1.

    >>> round(probability("drain", []), 3), round(probability("drain", [Observation("", {"drain": DECISIVE})]), 3)
    (0.167, 0.952)
    """
    return 1.0 / (1.0 + exp(-PRIOR - sum(seen.moves.get(fault, 0.0) for seen in evidence)))
