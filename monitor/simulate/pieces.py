"""Pieces: what is known of a vehicle's current in advance, as lines between knots, each with sharp ends.

A load, a wake-up, a starter's draw or a regulator's target is a Piece. Sums of pieces, their edges and their charge
are exact, so the truth about a scenario is computed from the very thing that is rendered.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.base.samples import SECOND_US, Floats, Ints


@dataclass(frozen=True, slots=True)
class Piece:
    """Values between knots, linear, and nothing outside; ends are sharp.

    t_us    int64 µs UTC, shape (n ≥ 2,), strictly increasing
    values  float64, shape (n,): drained amps for a load, volts for a regulator's target
    """

    t_us: Ints
    values: Floats

    @property
    def start(self) -> int:
        """First instant, µs."""
        return int(self.t_us[0])

    @property
    def end(self) -> int:
        """Instant after the last, µs."""
        return int(self.t_us[-1])

    def integral(self, start_us: int | None = None, end_us: int | None = None) -> float:
        """Value-seconds between two instants (default: all of it).

        >>> flat(0, 2_000_000, 3.0).integral()
        6.0
        """
        a = self.start if start_us is None else max(start_us, self.start)
        b = self.end if end_us is None else min(end_us, self.end)
        if b <= a:
            return 0.0
        inner = self.t_us[(self.t_us > a) & (self.t_us < b)]
        t = np.concatenate([[a], inner, [b]])
        v = np.interp(t, self.t_us, self.values)
        return float(np.sum(np.diff(t) * (v[1:] + v[:-1])) / 2 / SECOND_US)

    def cut(self, start_us: int, end_us: int) -> Piece | None:
        """The part between two instants; None when nothing is left."""
        a, b = max(start_us, self.start), min(end_us, self.end)
        if b <= a:
            return None
        inner = self.t_us[(self.t_us > a) & (self.t_us < b)]
        t = np.concatenate([[a], inner, [b]]).astype(np.int64)
        return Piece(t, np.interp(t, self.t_us, self.values))


def flat(start_us: int, end_us: int, value: float) -> Piece:
    """The same value all along."""
    return Piece(np.array([start_us, end_us], dtype=np.int64), np.array([value, value]))


def line(knots: list[tuple[int, float]]) -> Piece:
    """Through the given (µs, value) knots."""
    return Piece(np.array([k[0] for k in knots], dtype=np.int64), np.array([k[1] for k in knots], dtype=np.float64))


def decay(start_us: int, end_us: int, first: float, last: float) -> Piece:
    """From `first` to `last`, exponentially with a third of the span as time constant, in 16 lines."""
    x = (np.linspace(0.0, 1.0, 17)) ** 1.5
    t = np.unique(start_us + np.round(x * (end_us - start_us)).astype(np.int64))
    share = (np.exp(-3.0 * (t - start_us) / (end_us - start_us)) - np.exp(-3.0)) / (1 - np.exp(-3.0))
    return Piece(t, last + (first - last) * share)


def add(pieces: list[Piece], nodes_us: Ints) -> Floats:
    """Sum of the pieces at nodes where every sharp end appears twice: before and after the jump.

    >>> add([flat(0, 5, 2.0)], np.array([0, 0, 3, 5, 5])).tolist()
    [0.0, 2.0, 2.0, 2.0, 0.0]
    """
    total = np.zeros(len(nodes_us))
    for piece in pieces:
        i = int(np.searchsorted(nodes_us, piece.start, "left")) + 1
        j = int(np.searchsorted(nodes_us, piece.end, "left")) + 1
        total[i:j] += np.interp(nodes_us[i:j], piece.t_us, piece.values)
    return total


def us(seconds: float) -> int:
    """Microseconds, rounded."""
    return round(seconds * SECOND_US)
