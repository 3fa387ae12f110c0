"""Phases, regulation and tail current of a drive, from its minutes."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import numpy as np
import numpy.typing as npt

from monitor.base.results import ChargePhase, PhaseSpan, Regulation
from monitor.base.samples import SECOND_US, Floats, Ints
from monitor.detect import charging_limits as lim
from monitor.detect.facts import Facts

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Minutes:
    """Bins of running engine, arrays of shape (n,).

    start_s     start of each bin, s since 1970; width_s: their width, s
    volts       level of the bin (middle half), V; low and high: what 5 and 95 % of its seconds do not exceed
    amps        A, + into the battery; celsius: °C; NaN where unknown
    hunting, over   minutes in the bin with a hunting voltage; with an over-voltage
    """

    start_s: Ints
    width_s: int
    volts: Floats
    low: Floats
    high: Floats
    amps: Floats
    celsius: Floats
    hunting: Ints
    over: Ints

    def __len__(self) -> int:
        return len(self.start_s)


def reduced(minutes: Minutes, scale: float) -> Bools:
    """Bins that an engine-managed system holds near the battery's own voltage, shape (n,).

    Before charging was first seen, a bin that low may as well be an alternator that has not begun yet.
    """
    with np.errstate(invalid="ignore"):
        carried = minutes.amps <= lim.ECONOMY_LOWEST_A
    swings = np.percentile(minutes.high, 95) >= lim.REDUCED_BELOW_V * scale + lim.REDUCED_SWING_V * scale
    below = lim.REDUCED_BELOW_V if swings else lim.CHARGING_V
    begun = np.zeros(len(minutes), bool)
    np.logical_or.accumulate(minutes.high[:-1] >= lim.CHARGING_V * scale, out=begun[1:])
    lowest = np.where(begun, lim.REDUCED_LOWEST_V, lim.NO_CHARGE_ALONE_V)
    level = (minutes.volts < below * scale) & (minutes.volts >= lowest * scale)
    return np.asarray(level & ~carried)


def overrun(minutes: Minutes, scale: float) -> Bools:
    """Bins with pulses far above the drive's usual level, shape (n,)."""
    usual = float(np.median(minutes.volts))
    high = (minutes.high >= lim.OVERRUN_V * scale) & (minutes.high >= usual + lim.OVERRUN_ABOVE_V * scale)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], high, [False])).astype(np.int8)))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        steady = minutes.high[start:end] - minutes.low[start:end] < lim.OVERRUN_ABOVE_V * scale
        if end - start > lim.OVERRUN_LONGEST_BINS and np.mean(steady) > 0.5:
            high[start:end] = False
    return np.asarray(high)


def regulation(minutes: Minutes, scale: float) -> Regulation:
    """How the voltage is regulated; "unknown" where the drive is too short or fits no kind."""
    late = minutes.start_s >= minutes.start_s[0] + lim.START_LEFT_OUT_S
    if np.count_nonzero(late) < lim.REGULATION_LEAST_BINS:
        return "unknown"
    low, pulses = reduced(minutes, scale)[late], overrun(minutes, scale)[late]
    volts, celsius = minutes.volts[late], minutes.celsius[late]
    charging = minutes.high[late] >= (lim.CHARGING_V + 0.1) * scale
    enough = max(lim.MANAGED_LEAST_BINS, lim.MANAGED_SHARE * len(volts))
    if np.count_nonzero(low) >= enough and np.count_nonzero(charging) >= enough:
        return "managed"
    if np.count_nonzero(pulses) >= enough:
        return "managed"
    steady = minutes.high[late] - minutes.low[late] <= 2 * lim.FIXED_WIDTH_V * scale  # else it changes level within
    held = volts[steady & (volts >= lim.CHARGING_V * scale)]
    if len(held) < lim.REGULATION_LEAST_BINS or 2 * len(held) < len(volts):
        return "fixed" if _held_low(minutes, volts, scale) else "unknown"
    if _compensated(volts, celsius, scale):
        return "compensated"
    width = float(np.ptp(np.percentile(held, [5, 95])))
    if width <= lim.FIXED_WIDTH_V * scale:
        return "fixed"
    return "managed" if width >= lim.MANAGED_WIDTH_V * scale else "unknown"


def _held_low(minutes: Minutes, volts: Floats, scale: float) -> bool:
    """Whether one level below any charging voltage was held longer than an economy mode lasts."""
    long = len(minutes) * minutes.width_s >= lim.SULFATING_S
    steady = float(np.ptp(np.percentile(volts, [5, 95]))) <= lim.FIXED_WIDTH_V * scale
    return long and steady and float(volts.min()) >= lim.REDUCED_LOWEST_V * scale


def _compensated(volts: Floats, celsius: Floats, scale: float) -> bool:
    """Whether the level falls with temperature along a line."""
    known = ~np.isnan(celsius) & (volts >= lim.CHARGING_V * scale)
    if np.count_nonzero(known) < lim.REGULATION_LEAST_BINS:
        return False
    v, t = volts[known], celsius[known]
    span = float(np.ptp(t))
    if span < lim.COMPENSATED_LEAST_K:
        return False
    centred = t - t.mean()
    slope = float(np.sum(centred * (v - v.mean())) / np.sum(centred**2))
    left = v - v.mean() - slope * centred
    explained = 1 - float(np.sum(left**2)) / max(float(np.sum((v - v.mean()) ** 2)), 1e-12)
    steepest, flattest = lim.COMPENSATED_V_PER_K
    return (
        steepest * scale <= slope <= flattest * scale
        and abs(slope) * span >= lim.COMPENSATED_LEAST_V * scale
        and explained >= lim.COMPENSATED_EXPLAINED
        and float(np.ptp(np.percentile(left, [5, 95]))) <= lim.COMPENSATED_WIDTH_V * scale
    )


def phases(minutes: Minutes, facts: Facts, start_us: int, end_us: int) -> list[PhaseSpan]:
    """Phases of the drive in order, at most MOST_PHASES; minutes without charge that no system commands are in none.

    `start_us` and `end_us` bound the drive, whose first and last minute are rarely whole.
    The volts of an overrun phase are the level of its pulses, of any other phase the median of its minutes.
    """
    scale = facts.scale
    names = np.full(len(minutes), "", dtype="U14")
    names[minutes.volts >= lim.CHARGING_V * scale] = "regulated"
    names[reduced(minutes, scale)] = "reduced"
    pulses = overrun(minutes, scale)
    pulses[1:-1] |= pulses[:-2] & pulses[2:]  # a minute between two pulses belongs to them
    names[pulses] = "overrun"
    first = _first_recharge(minutes, facts, names)
    names[first] = np.where(pulses[first], "overrun", "first_recharge")
    if not np.any((names == "regulated") | (names == "first_recharge") | (names == "overrun")):
        names[:] = ""  # nothing ever charged, so nothing was reduced on purpose
    spans = _spans(names, minutes.start_s, minutes.width_s)
    while len(spans) > lim.MOST_PHASES:
        spans = _joined(spans)
    found = []
    for name, start, end in spans:
        if name == "":
            continue
        level = minutes.high[start:end][pulses[start:end]] if name == "overrun" else minutes.volts[start:end]
        level = level if len(level) else minutes.volts[start:end]
        phase = cast(ChargePhase, name)  # the names set above are its literals
        from_us = max(int(minutes.start_s[start]) * SECOND_US, start_us)
        to_us = min((int(minutes.start_s[end - 1]) + minutes.width_s) * SECOND_US, end_us)
        found.append(PhaseSpan(phase=phase, start=from_us, end=to_us, volts=float(np.median(level))))
    return found


def _first_recharge(minutes: Minutes, facts: Facts, names: npt.NDArray[np.str_]) -> slice:
    """The leading bins in which the battery still takes a large current, or shows it by a start level of its own."""
    scale = facts.scale
    charging = np.flatnonzero(names != "")
    begin = int(charging[0]) if len(charging) else len(minutes)
    volts, amps = minutes.volts[begin:], minutes.amps[begin:]
    if not len(volts):
        return slice(0, 0)
    if not np.all(np.isnan(amps)):
        least = lim.RECHARGE_SHARE * facts.capacity_ah if facts.capacity_ah else lim.RECHARGE_A
        with np.errstate(invalid="ignore"):
            small = np.flatnonzero(~(amps >= least))
        return slice(begin, begin + (int(small[0]) if len(small) else len(volts)))
    if len(volts) < 2 * lim.REGULATION_LEAST_BINS:
        return slice(0, 0)
    level = volts[1]
    other = np.flatnonzero(np.abs(volts[1:] - level) > lim.RECHARGE_SAME_V * scale)
    if level < lim.CHARGING_V * scale or not len(other):
        return slice(0, 0)
    length = 1 + int(other[0])
    after = float(np.median(volts[length:]))
    if len(volts) - length < lim.REGULATION_LEAST_BINS or level - after < lim.RECHARGE_LEVEL_V * scale:
        return slice(0, 0)
    return slice(begin, begin + length)


Spans = list[tuple[str, int, int]]


def _spans(names: npt.NDArray[np.str_], start_s: Ints, width_s: int) -> Spans:
    """Runs of one name as (name, first bin, one past the last); a hole of more than a bin ends a run."""
    change = (names[1:] != names[:-1]) | (np.diff(start_s) > 2 * width_s)
    borders = [0, *(np.flatnonzero(change) + 1).tolist(), len(names)]
    return [(str(names[a]), a, b) for a, b in pairwise(borders)]


def _joined(spans: Spans) -> Spans:
    """One span fewer or more: the shortest goes to its longer neighbour, which then joins its like."""
    shortest = min(range(len(spans)), key=lambda i: spans[i][2] - spans[i][1])
    beside = [spans[i] for i in (shortest - 1, shortest + 1) if 0 <= i < len(spans)]
    name = max(beside, key=lambda span: span[2] - span[1])[0]
    renamed = [*spans]
    renamed[shortest] = (name, spans[shortest][1], spans[shortest][2])
    out: Spans = []
    for span in renamed:
        if out and out[-1][0] == span[0] and out[-1][2] == span[1]:
            out[-1] = (span[0], out[-1][1], span[2])
        else:
            out.append(span)
    return out


def tail_amps(minutes: Minutes, spans: list[PhaseSpan]) -> float | None:
    """Charge current at the end of the last regulated phase, A, once it has levelled out; None before."""
    for span in reversed(spans):
        if span.phase != "regulated":
            continue
        end_s = span.end // SECOND_US
        if end_s - span.start // SECOND_US < lim.TAIL_LEAST_S:
            continue
        inside = (minutes.start_s >= span.start // SECOND_US) & (minutes.start_s < end_s)
        half = lim.TAIL_LEAST_S // 2
        last = minutes.amps[inside & (minutes.start_s >= end_s - half)]
        earlier = minutes.amps[
            inside & (minutes.start_s < end_s - half) & (minutes.start_s >= end_s - lim.TAIL_LEAST_S)
        ]
        if not len(last) or not len(earlier) or np.isnan(last).any() or np.isnan(earlier).any():
            return None
        now, before = float(np.median(last)), float(np.median(earlier))
        level = abs(now - before) <= max(lim.TAIL_LEVEL_A, lim.TAIL_LEVEL_SHARE * abs(now))
        return now if level and now > 0 else None
    return None
