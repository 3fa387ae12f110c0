"""Which minutes of a stand are rest: after the last charge or heavy load, with the vehicle at its sleep level.

Charge by a battery charger and heavy load restart the relaxation, so the rest begins where the last of them ended.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.base.samples import Floats, Ints
from monitor.detect.minutes import MINUTE_S, MinuteTable

HOUR_S = 3600.0

CHARGE_A = 0.5  # our choice: above clamp offset, below any charger that does something within an hour
FLOAT_A = 0.02  # our choice: enough to show the direction once the voltage is above any rest voltage
ABOVE_REST_V = 13.2  # 12 V lead-acid: after charge the voltage falls fast to 13.2 V (trade note), so above is charge
ABOVE_REST_LIFEPO4_V = 13.6  # from memory: LiFePO4 rests up to about 13.5 V
CHARGE_RISE_V = 0.3  # volts alone: our choice; recovery after a load stays below 13.0 V, surface charge only falls
LOAD_A = 2.0  # our choice: C/30 of 60 Ah, above what any sleeping vehicle draws
LOAD_AH = 0.3  # our choice: 0.5 % of 60 Ah; a load that takes less is over within AFTER_LOAD_H
AFTER_LOAD_H = 0.5  # our choice: left out after such a short load ("1 h after load" is a rule for the whole battery)
SETTLING_H = 0.5  # our choice: a load this soon after the engine stopped belongs to the drive
UNSEEN_RISE_V = 0.05  # our choice: higher after an unobserved spell than before it: charged, or loaded before
UNSEEN_H = 0.5
SHORT_H = 0.25  # our choice: a last quiet spell shorter than this is somebody at the car just before the crank
START_LEFT_OUT_H = 0.5  # our choice: settling loads and the steepest relaxation, which is no help to what comes after
LEFT_OUT_FROM_H = 4.0  # only from rests that are long enough without it
QUIET_MARGIN_A = 0.02  # our choice: normal spread of sleep currents, far below any wake-up that moves the voltage
QUIET_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class RestSpan:
    """The minutes of rest: bins of shape (n,), hours counted from where the rest began.

    hours, volts, weights   bin centres (h), volts (V), minutes in the bin
    began_h, ended_h        the spell in hours since the stand's start
    drain_a                 median drain in these bins, positive; None without amps
    celsius                 bin temperatures (°C), the last known one held; None where unknown
    after                   "drive", "charge", "load" or "unseen": what the relaxation follows
    bin_h                   width of a bin
    loads_h                 when lesser loads within the rest began: the volts may stay lower behind each
    """

    hours: Floats
    volts: Floats
    weights: Floats
    began_h: float
    ended_h: float
    drain_a: float | None
    celsius: Floats | None
    after: str
    bin_h: float
    loads_h: list[float]


def rest_span(
    table: MinuteTable,
    start_us: int,
    scale: float,
    lifepo4: bool,
    settled_at_us: int | None,
    sleep_current_a: float | None,
) -> RestSpan | None:
    """The minutes of the last rest of a stand; None where the table is empty. Columns of the table: see rest.py."""
    if not len(table.key):
        return None
    minutes, volt_sum, amp_n, amp_sum, _, amp_max, heat_n, heat_sum = table.columns
    bin_h = table.width * MINUTE_S / HOUR_S
    begin_h: Floats = table.key.astype(np.float64) * bin_h - start_us / 1e6 / HOUR_S
    volts = volt_sum / minutes / 1e6
    amps = _mean(amp_sum, amp_n)
    celsius = _mean(heat_sum, heat_n)
    top = scale * (ABOVE_REST_LIFEPO4_V if lifepo4 else ABOVE_REST_V)
    charged = _charged(volts, amps, amp_max, top, scale)
    with np.errstate(invalid="ignore"):
        loaded = amps <= -LOAD_A
    unseen = np.zeros(len(volts), bool)
    unseen[1:] = (np.diff(begin_h) > UNSEEN_H + bin_h) & (np.diff(volts) > UNSEEN_RISE_V * scale)

    heavy, blurred, lesser_h = _loads(begin_h, bin_h, amps, loaded)
    first, last, after = _last_spell(begin_h, bin_h, charged, heavy, unseen)
    inside = np.zeros(len(volts), bool)
    inside[first:last] = True
    began_h = max(float(begin_h[first]), 0.0)
    ended_h = float(begin_h[last - 1]) + bin_h
    quiet = _quiet(inside, begin_h, amps, settled_at_us, start_us, sleep_current_a)
    if ended_h - began_h >= LEFT_OUT_FROM_H:
        quiet &= begin_h >= began_h + START_LEFT_OUT_H
    quiet &= ~blurred if (quiet & ~blurred).any() else quiet
    drains = -amps[quiet]
    return RestSpan(
        hours=begin_h[quiet] + bin_h / 2 - began_h,
        volts=volts[quiet],
        weights=minutes[quiet].astype(float),
        began_h=began_h,
        ended_h=ended_h,
        drain_a=None if np.all(np.isnan(drains)) else float(np.nanmedian(drains)),
        celsius=_held(celsius[quiet]),
        after=after,
        bin_h=bin_h,
        loads_h=[at_h - began_h for at_h in lesser_h if began_h < at_h < ended_h],
    )


def _mean(total: Ints, count: Ints) -> Floats:
    return np.where(count > 0, total / np.maximum(count, 1) / 1e6, np.nan)


def _held(values: Floats) -> Floats | None:
    """Unknown values replaced by the known one before (at the start: by the first known); None if none is known."""
    known = np.flatnonzero(~np.isnan(values))
    if not len(known):
        return None
    return np.asarray(values[known[np.maximum(np.searchsorted(known, np.arange(len(values)), "right") - 1, 0)]])


def _charged(volts: Floats, amps: Floats, amp_max: Ints, top: float, scale: float) -> npt.NDArray[np.bool_]:
    """Bins in which a charger was at work."""
    with np.errstate(invalid="ignore"):
        by_amps = (amp_max > CHARGE_A * 1e6) | ((volts >= top) & (amps > FLOAT_A))
    risen = np.maximum.accumulate(volts - np.minimum.accumulate(volts) > CHARGE_RISE_V * scale)
    return np.asarray(np.where(np.isnan(amps), risen & (volts >= top), by_amps))


def _loads(
    begin_h: Floats, bin_h: float, amps: Floats, loaded: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_], list[float]]:
    """Bins of loads that restart the rest, bins that a lesser load and its recovery blur, and where those begin."""
    heavy, blurred = np.zeros(len(loaded), bool), np.zeros(len(loaded), bool)
    lesser_h: list[float] = []
    edges = np.flatnonzero(np.diff(np.concatenate(([False], loaded, [False])).astype(np.int8)))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if -float(np.sum(amps[start:end])) * bin_h >= LOAD_AH:
            heavy[start:end] = True
        else:
            blurred[(begin_h >= begin_h[start]) & (begin_h < begin_h[end - 1] + bin_h + AFTER_LOAD_H)] = True
            lesser_h.append(float(begin_h[start]))
    return heavy, blurred, lesser_h


def _last_spell(
    begin_h: Floats,
    bin_h: float,
    charged: npt.NDArray[np.bool_],
    loaded: npt.NDArray[np.bool_],
    unseen: npt.NDArray[np.bool_],
) -> tuple[int, int, str]:
    """First and one past the last bin of the rest, and what it follows.

    The last undisturbed spell counts; one shorter than SHORT_H gives way to the one before it, if there is one.
    """
    disturbed = charged | loaded
    edges = np.flatnonzero(np.diff(np.concatenate(([True], disturbed, [True])).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    for start, end in zip(starts[::-1].tolist(), ends[::-1].tolist(), strict=True):
        cuts = np.flatnonzero(unseen[start + 1 : end])
        begin = start + 1 + int(cuts[-1]) if len(cuts) else start
        if begin_h[end - 1] + bin_h - begin_h[begin] >= SHORT_H or start == starts[0]:
            if begin > start or unseen[begin]:
                return begin, end, "unseen"
            if begin > 0 and charged[begin - 1]:
                return begin, end, "charge"
            return begin, end, "drive" if begin_h[begin] <= SETTLING_H else "load"
    return 0, len(begin_h), "charge" if charged[-1] else "load"  # never undisturbed


def _quiet(
    inside: npt.NDArray[np.bool_],
    begin_h: Floats,
    amps: Floats,
    settled_at_us: int | None,
    start_us: int,
    sleep_current_a: float | None,
) -> npt.NDArray[np.bool_]:
    """Bins of the rest whose drain is near the sleep level; all of them where there are no amps."""
    known = inside & ~np.isnan(amps)
    if not known.any():
        return inside.copy()
    asleep = known
    if settled_at_us is not None:
        later = known & (begin_h >= (settled_at_us - start_us) / 1e6 / HOUR_S)
        asleep = later if later.any() else known
    drain = -amps
    level = float(np.median(drain[asleep])) if sleep_current_a is None else sleep_current_a
    near = asleep & (drain <= level + max(QUIET_MARGIN_A, QUIET_SHARE * abs(level)))
    if 2 * np.count_nonzero(near) >= np.count_nonzero(asleep):
        return near
    return asleep & (drain <= np.median(drain[asleep]))  # mostly above that level: the quieter half
