"""Events of truth and findings, paired one to one within an acceptance window."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")
F = TypeVar("F")


@dataclass(frozen=True, slots=True)
class Matched(Generic[T, F]):
    """Pairs (truth, found), truths that nothing found, findings that nothing made."""

    pairs: list[tuple[T, F]]
    missed: list[T]
    invented: list[F]


def match(
    truth: Sequence[T],
    found: Sequence[F],
    window_us: int,
    truth_at: Callable[[T], int],
    found_at: Callable[[F], int],
) -> Matched[T, F]:
    """Pair the events nearest to each other first; no event is used twice, none is paired across the window.

    truth_at, found_at   the instant by which an event is paired, µs

    >>> same = lambda x: x
    >>> done = match([10, 100], [12, 9, 400], 5, same, same)
    >>> done.pairs, done.missed, done.invented
    ([(10, 9)], [100], [12, 400])
    """
    order = sorted(range(len(found)), key=lambda i: found_at(found[i]))
    instants = [found_at(found[i]) for i in order]
    near: list[tuple[int, int, int]] = []
    for k, event in enumerate(truth):
        at = truth_at(event)
        for place in range(bisect_left(instants, at - window_us), bisect_right(instants, at + window_us)):
            near.append((abs(instants[place] - at), k, order[place]))
    taken: dict[int, int] = {}
    used: set[int] = set()
    for _, k, i in sorted(near):
        if k not in taken and i not in used:
            taken[k] = i
            used.add(i)
    return Matched(
        [(truth[k], found[i]) for k, i in sorted(taken.items())],
        [event for k, event in enumerate(truth) if k not in taken],
        [event for i, event in enumerate(found) if i not in used],
    )
