"""Levels of a current: where one begins, and how it drifts.

A level may drift (temperature, a logger's zero); a stage of the shutdown just above it is another level; wake-ups lie
between its stretches. These functions tell the three apart in rows already read.
"""

from __future__ import annotations

import itertools

import numpy as np

from monitor.base.samples import Bools, Floats, Ints
from monitor.detect.held import Held
from monitor.detect.rows import Rows
from monitor.detect.texture import FLOOR_A

HELD_S = 5  # the least stretch in band that begins a plateau: a wake-up may follow at once
LAPSE_S = 3  # a lapse shorter than this does not end a stretch
PIECE = 20  # rows whose median follows a level back; our choice
NEAR_ROWS, MEAN_MARGIN = 10, 1.3  # rows whose mean must agree as well, and the margin of its band; our choice
MINUTES, DRIFT_ROWS = 10, 6  # parts of a frame by which the level follows drift, and the least rows in one
LOWS = 2  # tenths before, from none of which a quartile that is followed may have jumped
STAYS_SHARE = 0.5  # of a jump that keeps it up; our choice
FASTEST_DRIFT = 5  # tenths of a frame in which the level may drift through its band; faster is a ramp; our choice


def follow_back(rows: Rows, first: int, level: float, band: float, noisy: bool = False) -> tuple[int, float]:
    """Follow a drifting level back from row `first`: the first row on it, and the level there.

    By medians of PIECE rows; pieces off the level are passed over, since a wake-up may lie between. In noise they must
    be nearer than single rows, or a stage that lies within those would be taken for drift.
    """
    near = narrow_a(band) if noisy else band
    reached = first
    for begin in range(first - PIECE, -1, -PIECE):
        middle = float(np.median(rows.drain[begin : begin + PIECE]))
        if abs(middle - level) <= near:
            reached, level = begin, level + (middle - level) / 2
    if reached < first:
        begin = max(reached - PIECE, 0)
        on = np.flatnonzero(near_level(rows[begin : reached + PIECE], level, band))
        reached = begin + int(on[0]) if len(on) else reached
    return reached, level


def near_level(rows: Rows, level: float, band: float) -> Bools:
    """Rows in band from which on NEAR_ROWS have a mean in its narrower band; rows of a stage above have not."""
    near = np.abs(rows.drain - level) <= band
    if len(rows) < 2 * NEAR_ROWS or int(rows.second[NEAR_ROWS] - rows.second[0]) > 2 * NEAR_ROWS:
        return near
    means = np.convolve(rows.drain - level, np.full(NEAR_ROWS, 1.0 / NEAR_ROWS), "valid")
    means = np.concatenate([means, np.full(NEAR_ROWS - 1, means[-1])])
    agree: Bools = np.abs(means) <= narrow_a(band)
    return near & agree


def narrow_a(band: float) -> float:
    """The band of a mean of NEAR_ROWS rows, A, where single rows have `band`."""
    return max(FLOOR_A, MEAN_MARGIN * band / float(np.sqrt(NEAR_ROWS)))


def first_lasting(second: Ints, near: Bools) -> int | None:
    """First row of the first stretch in band that lasts HELD_S (three rows on slow loggers); short lapses count."""
    edges = np.flatnonzero(np.diff(near.astype(np.int8)))
    cuts = [0, *(edges + 1).tolist(), len(near)]
    start: int | None = None
    for begin, end in itertools.pairwise(cuts):
        last_s = int(second[end - 1])
        if near[begin]:
            start = begin if start is None else start
            if last_s - int(second[start]) >= HELD_S and end - start >= 3:
                return start
        elif end - begin > 2 or last_s - int(second[begin]) > LAPSE_S:
            start = None
    return None


def baseline(drain: Floats, held: Held) -> tuple[Floats, Ints]:
    """The level through a frame, shape (n,), and which of its tenths have jumped: +1 up, −1 down, shape (MINUTES,).

    Through the lower quartiles of the frame's tenths, lifted by what the mean is known to lie above them: excursions do
    not move a quartile, unless they fill the tenth; then they leave the band, and the level stays where it was. The
    quartile of a coarse logger can but flicker between its steps: there the mean of the rows in band. Where rows are
    too few to show the level's drift, shape (1,) and (0,).
    """
    size = len(drain) // MINUTES
    if size < DRIFT_ROWS:
        return np.array([held.level_a]), np.empty(0, np.int64)
    parts = drain[: MINUTES * size].reshape(MINUTES, size)
    band, at = held.texture.steady_a(held.level_a), held.level_a
    # In noise a weak stage of minutes lies within the band of single rows; its tenths jump, those of drift do not.
    coarse = held.texture.quantum_a > narrow_a(band)
    jump = narrow_a(band) if coarse or held.texture.is_noisy(band) else np.inf
    low = (_means(parts, at, band) - held.lift_a if coarse else _quartiles(parts)).tolist()
    levels = []
    jumped = np.zeros(MINUTES, np.int64)
    for k, value in enumerate(low):
        change = value + held.lift_a - at
        leaps = [value - before for before in held.lows_a]
        held.jumped = jumped[k] = _jumped(change, leaps, jump * (STAYS_SHARE if held.jumped else 1.0))
        if not held.jumped and abs(change) <= band and all(abs(leap) <= jump for leap in leaps):
            held.lows_a = [*held.lows_a, value][-LOWS:]
            at += max(min(change / 2, band / FASTEST_DRIFT), -band / FASTEST_DRIFT)
        levels.append(at)
    held.low_a = low[-1]
    return np.interp(np.arange(len(drain)), (np.arange(MINUTES) + 0.5) * size, levels), jumped


def _jumped(change: float, leaps: list[float], least: float) -> int:
    """+1 or −1 where a tenth is off the level by `least`, and off one before it as well; else 0."""
    sign = 1 if change > 0 else -1
    off = [sign * leap for leap in leaps]
    enough = least if sign > 0 else STAYS_SHARE * least  # a minute that falls in its midst has moved the level already
    return sign if off and sign * change > enough and max(off) > least and min(off) > 0 else 0


def _quartiles(parts: Floats) -> Floats:
    rank = parts.shape[1] // 4
    low: Floats = np.partition(parts, rank, axis=1)[:, rank]
    return low


def _means(parts: Floats, level: float, band: float) -> Floats:
    """Means of the rows in band, shape (n,); nan where they are less than half of a part."""
    near = np.abs(parts - level) <= band
    many = np.count_nonzero(near, axis=1)
    means: Floats = np.where(near, parts, 0.0).sum(axis=1) / np.maximum(many, 1)
    means[2 * many < parts.shape[1]] = np.nan
    return means
