"""What the starter's current tells of a crank: the compressions in its ripple, and how long it flowed."""

from __future__ import annotations

import numpy as np

from monitor.base.samples import Floats

LINE_TIMES = 12  # noise has some 18 lines in the band, each over 12 medians once in 4,000: one false ripple in 200
OVER_SHARE = 0.5  # of the level: loads of an engine that runs already stay below it; our choice
LOADS_TIMES = 1.25  # of the least that is a starter's: so much an engine's loads may be; our choice
INRUSH_TIMES, HELD_SHARE = (1.4, 2.5), 0.8  # a first sample so far above a second that the third keeps to; our choice


def turned_s(amps: Floats, hz: float, least_a: float) -> float | None:
    """How long it flowed, s: the charge of what is over half of its level, at that level.

    None where all but one sample may as well be the loads of the engine that then runs.

    For loggers too slow to show the inrush, but for one sample that may fall into it. Read or averaged once a second,
    cranks of 1.1 to 3.5 s come out within a quarter of a second in the mean, one alone up to a second off; shorter ones
    come out at 1.1 to 1.3 s. `least_a`: less is no starter.

    >>> turned_s(np.array([-60.0, -150.0, -75.0, -30.0]), 1.0, 50.0)
    1.5
    >>> turned_s(np.array([-320.0, -150.0, -148.0]), 1.0, 50.0)
    2.99
    >>> turned_s(np.array([-84.0, -46.0, -46.0]), 1.0, 41.0)
    """
    drain = np.nan_to_num(-amps)
    level = float(drain.max())
    second = float(drain[1]) if len(drain) >= 3 and drain[2] > HELD_SHARE * drain[1] >= HELD_SHARE * least_a else 0.0
    if level == drain[0] and INRUSH_TIMES[0] * second < level < INRUSH_TIMES[1] * second:
        level = second
    share = np.minimum(drain / level, 1.0)
    over = np.sort(share[share >= OVER_SHARE])
    if len(over) > 1 and over[-2] * level < LOADS_TIMES * least_a:
        return None
    return round(float(over.sum()) / hz, 2)


def ripple_hz(amps: Floats, hz: float) -> float | None:
    """Frequency of the compression ripple in the current of a cranking plateau, Hz; None where none stands out.

    Strongest line of the Hann-windowed spectrum between 2 and 20 Hz, refined by a parabola; it must hold LINE_TIMES
    the median power of that band.

    >>> t = np.arange(100) / 100.0
    >>> round(ripple_hz(-150 + 30 * np.sin(2 * np.pi * 6.7 * t), 100.0), 1)
    6.7
    """
    if len(amps) < hz * 0.5 or np.isnan(amps).any():
        return None
    size = 8 * len(amps)
    spectrum = np.abs(np.fft.rfft((amps - np.mean(amps)) * np.hanning(len(amps)), size)) ** 2
    line = np.fft.rfftfreq(size, 1 / hz)
    band = np.flatnonzero((line >= 2.0) & (line <= min(20.0, 0.45 * hz)))
    if len(band) < 3:
        return None
    top = int(band[np.argmax(spectrum[band])])
    if top in (band[0], band[-1]) or spectrum[top] < LINE_TIMES * np.median(spectrum[band]):
        return None
    left, mid, right = np.log(spectrum[top - 1 : top + 2] + 1e-300)
    shift = 0.5 * (left - right) / (left - 2 * mid + right)
    return float((top + shift) * hz / size)
