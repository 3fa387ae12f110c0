"""A plain threshold script, the kind a workshop would write, for comparison. It shares nothing with the engine.

Running above 13.2 V (common practice), asleep when the drain has been under 50 mA for five minutes (the usual limit),
a wake-up is more than twice the sleep level, a crank is a second of more than 60 A just before the engine runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from monitor.base.results import Charging, Crank, Drive, Log, Plateau, Result, Stand, WakeUp
from monitor.base.samples import SECOND_US, Block, Floats, Ints

RUNNING_V = 13.2
RUNNING_S = 10  # above or below for so long, to leave out dips and overrun
ASLEEP_A, ASLEEP_S = 0.050, 300
AWAKE_TIMES = 2.0
CRANK_A, CRANK_BEFORE_S = 60.0, 10
UNDER_V, OVER_V = 13.5, 15.0

Spans = list[tuple[int, int]]


def thresholds(blocks: Sequence[Block], nominal_v: float) -> Result:
    """Stands, drives and what is in them, by fixed levels; the log must have amps.

    >>> t_us = np.arange(3600) * SECOND_US
    >>> quiet = Block(t_us, np.full(3600, 12.6), np.full(3600, -0.02))
    >>> [(s.time_to_sleep_s, round(s.sleep_current_a, 3)) for s in thresholds([quiet], 12.0).stands]
    [(0.0, 0.02)]
    """
    second, volts, amps, low_amps, low_volts = _seconds(blocks)
    every_s = max(1, round(float(np.median(np.diff(second)))))
    running = _held(volts > RUNNING_V * nominal_v / 12.0, max(1, RUNNING_S // every_s))
    result = Result(log=Log(first=int(blocks[0].t_us[0]), last=int(blocks[-1].t_us[-1])))
    for a, b in _runs(running):
        start = int(second[a]) * SECOND_US
        end = None if b == len(running) else (int(second[b - 1]) + every_s) * SECOND_US
        part = slice(a, b)
        charge_in, charge_out = (float(np.sum(np.maximum(s * amps[part], 0)) * every_s / 3600) for s in (1, -1))
        if running[a]:
            before = slice(max(0, a - CRANK_BEFORE_S // every_s - 1), a + 1)
            crank = _crank(second[before], low_amps[before], low_volts[before])
            level = float(np.median(volts[part])) / nominal_v * 12.0
            charging = Charging(volts_median=level, regulation="fixed")
            charging.faults = ["overvoltage"] if level > OVER_V else ["undervoltage"] if level < UNDER_V else []
            drive = Drive(start=start, end=end, crank=crank, charging=charging)
            drive.charge_in_ah, drive.charge_out_ah = charge_in, charge_out
            result.drives.append(drive)
        else:
            stand = Stand(start=start, end=end, charge_in_ah=charge_in, charge_out_ah=charge_out)
            _sleep(stand, second[part], -amps[part], every_s)
            result.stands.append(stand)
    return result


def _seconds(blocks: Sequence[Block]) -> tuple[Ints, Floats, Floats, Floats, Floats]:
    """Whole seconds that hold samples; mean volts and amps, lowest amps and volts."""
    t_us = np.concatenate([b.t_us for b in blocks])
    volts = np.concatenate([b.volts for b in blocks])
    amps = np.concatenate([b.amps for b in blocks if b.amps is not None])
    second, first = np.unique(t_us // SECOND_US, return_index=True)
    count = np.diff(np.append(first, len(t_us)))
    return (
        second,
        np.add.reduceat(volts, first) / count,
        np.add.reduceat(amps, first) / count,
        np.minimum.reduceat(amps, first),
        np.minimum.reduceat(volts, first),
    )


def _held(on: np.ndarray, least: int) -> np.ndarray:
    """The same, with every change that does not last taken back."""
    kept = on.copy()
    for a, b in _runs(on):
        kept[a:b] = on[a] if b - a >= least or a == 0 else kept[a - 1]
    return kept


def _runs(on: np.ndarray) -> Spans:
    edges = [0, *(np.flatnonzero(np.diff(on)) + 1).tolist(), len(on)]
    return [(a, b) for a, b in pairwise(edges) if b > a]


def _crank(second: Ints, amps: Floats, volts: Floats) -> Crank | None:
    heavy = np.flatnonzero(amps < -CRANK_A)
    if not len(heavy):
        return None
    return Crank(start=int(second[heavy[0]]) * SECOND_US, duration_s=float(len(heavy)), volts_min=float(np.min(volts)))


def _sleep(stand: Stand, second: Ints, drain_a: Floats, every_s: int) -> None:
    """Fill in settling, level and wake-ups."""
    quiet = drain_a < ASLEEP_A
    least = max(1, ASLEEP_S // every_s)
    first = next((a for a, b in _runs(quiet) if quiet[a] and b - a >= least), None)
    if first is None:
        return
    level = float(np.mean(drain_a[first:][quiet[first:]]))
    stand.settled_at = int(second[first]) * SECOND_US
    stand.time_to_sleep_s = float(second[first] - second[0])
    stand.sleep_current_a = level
    end = (int(second[-1]) + every_s) * SECOND_US
    stand.plateaus = [Plateau(start=stand.settled_at, end=end, amps=-level)]
    awake = drain_a[first:] > AWAKE_TIMES * level
    for a, b in _runs(awake):
        if awake[a]:
            over = drain_a[first + a : first + b] - level
            start = int(second[first + a]) * SECOND_US
            stand.wake_ups.append(
                WakeUp(
                    start=start,
                    end=(int(second[first + b - 1]) + every_s) * SECOND_US,
                    peak_a=float(np.max(over)) + level,
                    excess_a=float(np.mean(over)),
                    charge_ah=float(np.sum(over)) * every_s / 3600,
                )
            )
