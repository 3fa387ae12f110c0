"""Which rows stand out of a level, above or below it: one by one, by the mean of several, and by the minute.

A row that leaves the band of single rows stands out by itself. In noise less shows in the mean of WINDOW rows. What
lasts and is less than a row's own band shows in whole minutes: their levels jump, where drift would creep.
"""

from __future__ import annotations

import numpy as np

from monitor.base.samples import Floats, Ints
from monitor.detect.texture import FLOOR_A, QUANTUM_TIMES, Texture, without_spikes

WINDOW, WINDOW_TIMES = 8, 1.15  # rows of the moving mean by which small excursions show in noise, and its margin
CLIPPED = 1.45  # of that margin, so that a third of it is under its half; our choice

ABOUT, BACK_SHARE = 9, 1 / 3  # rows, and the share of a jump under which their mean is back; our choice


def sides(excess: Floats, jumped: Ints, texture: Texture, level_a: float) -> Ints:
    """+1 above the band, −1 below it, 0 inside, for each row of a frame, shape (n,).

    jumped   the same for its equal parts in turn, of those whose level has jumped; empty where there are none
    """
    band, steady = texture.band_a(level_a), texture.steady_a(level_a)
    side = (excess > band).astype(np.int64) - (excess < -band)
    if steady < band:
        plain = without_spikes(excess, texture.median_rows)
        side[(side == 0) & (plain > steady)] = 1
        side[(side == 0) & (plain < -steady)] = -1
    if texture.is_noisy(band) and len(excess) >= WINDOW:
        narrow = max(FLOOR_A, WINDOW_TIMES * band / np.sqrt(WINDOW), QUANTUM_TIMES * texture.quantum_a)
        calm = np.clip(excess, -CLIPPED * narrow, CLIPPED * narrow)  # what stands out must not lift its neighbours
        means = np.convolve(calm, np.full(WINDOW, 1.0 / WINDOW), "valid")
        smooth = np.convolve(calm, np.full(3, 1.0 / 3), "same")  # so that no lone row is one
        for sign in (1, -1):
            beyond = np.convolve((sign * means > narrow).astype(np.float64), np.ones(WINDOW), "full") > 0.5
            side[(side == 0) & beyond & (sign * smooth > narrow / 2)] = sign
    return _lasting(side, excess, jumped)


def _lasting(side: Ints, excess: Floats, jumped: Ints) -> Ints:
    """The rows in band of parts that have jumped, between others that have: their edges are left to the rows.

    So are those about which the mean is back near the level: one wake-up may end there, and the next begin.
    """
    size = len(side) // len(jumped) if len(jumped) else 0
    for part in np.flatnonzero(jumped):
        if (jumped[max(part - 1, 0) : part + 2] == jumped[part]).all():
            rows = slice(part * size, (part + 1) * size if part + 1 < len(jumped) else len(side))
            off = jumped[part] * excess
            middle = float(np.median(off[rows]))
            about = np.convolve(np.clip(off, -2 * middle, 2 * middle), np.full(ABOUT, 1.0 / ABOUT), "same")
            side[rows][(side[rows] == 0) & (about[rows] > BACK_SHARE * middle)] = jumped[part]
    return side
