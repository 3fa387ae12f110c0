"""Wake-ups: what an excursion above the sleep plateau amounts to.

Charge is what was counted over the excursion less what the plateau would have taken in the same time; seconds that the
excursion fills only in part are counted too, and their share of its size places its edges within the second.
"""

from __future__ import annotations

import numpy as np

from monitor.base.results import WakeUp
from monitor.base.samples import SECOND_US, Floats
from monitor.detect.plateaus import Excursion
from monitor.detect.rows import Rows

AH_PER_NC = 1e-9 / 3600.0
PARTIAL_NOISE = 2.5  # a neighbouring second so far above the noise belongs to the excursion
PARTIAL_SHARE = 0.05  # …and by so much of its size
FULL_SHARE = 0.9  # an edge second this full is full
FAST_S, PULSE_US = 2, 600_000  # a logger this fast shows an excursion this short as a pulse; our choice
MODULE_S, BESIDE_SHARE = 10, 0.2  # modules are awake for so long and longer; of its size, beside it; our choice
LEAST_AS = 0.018  # smaller is no wake-up: 10 mA for 2 s, less a tenth; our choice
PULSES_TOGETHER = 3.5  # so many seconds' worth of a receiver's pulses may fall together…
PULSES_SINGLE = 2.0  # …where a second is one sample; our choice
INTERIOR = 3  # seconds whose median is the size next to an edge


def wake_up(excursion: Excursion) -> WakeUp:
    """Figures of an excursion; drain figures are positive, `peak_a` is the highest drain seen."""
    rows, level = excursion.rows, excursion.level_a
    excess = rows.drain - level
    band = excursion.texture.band_a(level)
    above = np.flatnonzero((rows.second >= excursion.start_s) & (excess > band / 2))
    first, last = (int(above[0]), int(above[-1])) if len(above) else (0, max(len(rows) - 2, 0))
    even = len(rows) < 2 or int(np.max(np.diff(rows.second))) == 1
    enough = max(PARTIAL_NOISE * excursion.texture.noise_a, PARTIAL_SHARE * float(np.max(excess)))
    start_us, end_us = excursion.start_s * SECOND_US, excursion.end_s * SECOND_US
    counted = slice(first, min(last + 2, len(rows)))
    if even:
        begins = first - 1 if first > 0 and excess[first - 1] > enough else first
        ends = last + 1 if last + 1 < len(rows) and excess[last + 1] > enough else last
        start_us, end_us = _edges(excess, rows.peak - level, begins, ends, int(rows.second[begins]))
        counted = slice(begins, min(ends + 2, len(rows)))
    elif len(above):
        start_us, end_us = _halfway(rows, first, last, start_us, end_us)
    observed_s = float(rows.observed_us[counted].sum()) / SECOND_US
    charge_ah = float(rows.out_nc[counted].sum()) * AH_PER_NC - level * observed_s / 3600.0
    length_s = max((end_us - start_us) / SECOND_US, 1e-3)
    return WakeUp(
        start=start_us,
        end=end_us,
        peak_a=float(np.max(rows.peak[first : last + 1])),
        excess_a=max(charge_ah, 0.0) * 3600.0 / length_s,
        charge_ah=max(charge_ah, 0.0),
    )


def _halfway(rows: Rows, first: int, last: int, start_us: int, end_us: int) -> tuple[int, int]:
    """On a slow logger it begins and ends half way to its neighbours, as its charge is counted."""
    if first > 0 and rows.gap[first] == 0:
        start_us = (int(rows.second[first - 1]) + int(rows.second[first])) * SECOND_US // 2
    if last + 1 < len(rows) and rows.gap[last + 1] == 0:
        end_us = (int(rows.second[last]) + int(rows.second[last + 1])) * SECOND_US // 2
    return start_us, max(end_us, start_us + 1)


def is_pulse(excursion: Excursion, wake: WakeUp) -> bool:
    """Whether one sample says nothing of its length, or a fast logger shows less than any module is awake.

    A slower logger that averages spreads a wake-up over two samples, unless it fills one: then it may be so short. One
    sample in ten seconds and more is all that some modules leave.
    """
    rows = excursion.rows
    excess = rows.drain - excursion.level_a
    high = np.flatnonzero(excess > excursion.texture.steady_a(excursion.level_a))
    every_s = 1 if len(rows) < 2 else int(np.median(np.diff(rows.second)))
    one_sample = len(high) <= 1 and int(rows.count[high].max(initial=0)) == 1
    if every_s <= FAST_S:
        return one_sample or wake.end - wake.start <= PULSE_US
    alone = float(excess.sum() - excess[high].sum()) < BESIDE_SHARE * float(excess[high].sum())
    return one_sample and alone and every_s < MODULE_S


def least_ah(excursion: Excursion) -> float:
    """Charge below which an excursion is none, Ah; more where recurring pulses may fall together."""
    single = int(excursion.rows.count[len(excursion.rows) // 2]) == 1
    together = PULSES_SINGLE if single else PULSES_TOGETHER
    return max(LEAST_AS, together * excursion.texture.spikes_a) / 3600.0


def _edges(excess: Floats, peak: Floats, begins: int, ends: int, start_s: int) -> tuple[int, int]:
    """Instants at which the excursion begins and ends, µs, from how full its first and last seconds are."""
    if begins == ends:
        length = _fullness(excess[begins], float(peak[begins]))
        return start_s * SECOND_US, start_s * SECOND_US + round(length * SECOND_US)
    inner = excess[begins + 1 : ends]
    size = float(np.median(inner[:INTERIOR])) if len(inner) else float(np.max(peak[begins : ends + 1]))
    first = _fullness(excess[begins], size)
    size = float(np.median(inner[-INTERIOR:])) if len(inner) else float(np.max(peak[begins : ends + 1]))
    last = _fullness(excess[ends], size)
    start_us = start_s * SECOND_US + round((1.0 - first) * SECOND_US)
    return start_us, (start_s + ends - begins) * SECOND_US + round(last * SECOND_US)


def _fullness(excess: float, size: float) -> float:
    share = float(excess) / size if size > 0 else 1.0
    return 1.0 if share > FULL_SHARE else max(share, 0.05)
