"""Shapes of what a waking module draws."""

from __future__ import annotations

import numpy as np

from monitor.simulate.pieces import Piece, decay, flat, line, us
from monitor.simulate.scenario import Shape

WANDER = 0.02  # a module at work does not draw a ruler's line; our choice


def wander(start_us: int, end_us: int, amps: float, rng: np.random.Generator) -> Piece:
    """About `amps`, wandering by a few per cent as modules work; flat when too short to show."""
    span_s = (end_us - start_us) / 1e6
    if span_s < 3.0:
        return flat(start_us, end_us, amps)
    count = int(min(max(span_s / 2.0, 4), 60))
    t = np.unique(np.linspace(start_us, end_us, count + 1).round().astype(np.int64))
    return Piece(t, amps * (1 + WANDER * np.clip(rng.standard_normal(len(t)), -2.5, 2.5)))


def excursion(shape: Shape, start_us: int, duration_s: float, amps: float, rng: np.random.Generator) -> list[Piece]:
    """Pieces of one wake-up whose greatest draw is about `amps`."""
    end = start_us + us(duration_s)
    if shape == "two_step":
        middle = start_us + us(duration_s / 3)
        return [wander(start_us, middle, amps, rng), wander(middle, end, 0.45 * amps, rng)]
    if shape == "decaying":
        return [decay(start_us, end, amps, 0.15 * amps)]
    if shape == "ramped":
        return [line([(start_us, 0.2 * amps), (end, amps)])]
    return [wander(start_us, end, amps, rng)]


def visit(start_us: int, duration_s: float, amps: float, rng: np.random.Generator) -> list[Piece]:
    """A door or lock while parked: lamps and modules, then their small staged shutdown."""
    one, two, end = (start_us + us(duration_s * share) for share in (0.25, 0.7, 1.0))
    return [
        wander(start_us, one, amps, rng),
        wander(one, two, 0.35 * amps, rng),
        wander(two, end, 0.12 * amps, rng),
    ]
