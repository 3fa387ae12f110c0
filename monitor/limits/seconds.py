"""Limits judged with every second: volts, and the silence of the logger.

A second's mean counts from its first to its last instant. While the starter turns the low side is suppressed by design:
from the first heavy load, or a sudden dip, for CRANK_S; a load that stays heavy is judged after that. A gap is unknown
time. A silence is judged between the samples themselves, so that it is told while it lasts (`still_silent`) just as it
is told afterwards, when the next sample shows how long it was. The grace of a limit (`after`) is not asked here.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from monitor.base.alarms import Transition
from monitor.base.samples import SECOND_US, Bools, Floats, Ints, Seconds
from monitor.limits.alarm import LimitAlarm

HEAVY_A = 40.0  # more than any load but a starter or glow plugs, for 12 V as for 24 V; our choice
DIP_V = 1.0  # a fall from one second to the next that only a starter makes; for 12 V, our choice
CRANK_S = 30  # the longest cranking, with glow plugs before it; our choice
APART_S = 60  # a heavy load so long after the last one is a new one; our choice

Placed = tuple[int, Transition]  # position of the second with which it became known, and the transition
BEYOND, BETWEEN, CLEAR, UNKNOWN = 3, 2, 1, 0
CODE = {"beyond": BEYOND, "between": BETWEEN, "clear": CLEAR, "unknown": UNKNOWN}


@dataclass(slots=True)
class Cranking:
    """The last heavy load: when it began and when it was last seen (s), and the volts of the last second."""

    began_s: int = -CRANK_S
    last_s: int = -APART_S
    volts: float = float("nan")


def cranking(state: Cranking, seconds: Seconds, scale: float) -> Bools:
    """Seconds in which the low side of the volts is not judged, shape (n,)."""
    volts = seconds.volts
    before = np.concatenate(([state.volts], volts[:-1]))
    if np.isnan(before).any():  # the last known one
        known = np.maximum.accumulate(np.where(np.isnan(before), 0, np.arange(len(before))))
        before = before[known]
    heavy = (seconds.amps_min <= -HEAVY_A) | (before - seconds.volts_min >= DIP_V * scale)
    state.volts = float(before[-1]) if np.isnan(volts[-1]) else float(volts[-1])
    second = seconds.second
    spared = (second >= state.began_s) & (second < state.began_s + CRANK_S)
    for at in second[heavy].tolist():
        if at - state.last_s >= APART_S:
            state.began_s = at
            spared |= (second >= at) & (second < at + CRANK_S)
        state.last_s = at
    return spared


def judge_volts(alarm: LimitAlarm, seconds: Seconds, spared: Bools) -> list[Placed]:
    """Hand the seconds to the alarm: where the zone changes and where it matters; the result is as for each."""
    if alarm.state.out_of_service:
        return []
    if alarm.state.hushed_us is not None:
        return _placed(alarm.advance(int(seconds.second[-1] + 1) * SECOND_US), seconds.second)
    values = np.where(spared, np.nan, seconds.volts) if alarm.side == "low" and spared.any() else seconds.volts
    zones = _zones(alarm, values, seconds.celsius)
    second, state = seconds.second, alarm.state
    end_us = int(second[-1] + 1) * SECOND_US
    same = CODE[state.zone]
    if same != BEYOND and state.at_us is not None and (zones == same).all() and not seconds.gap_us.any():
        due = alarm.due_us()
        return _placed(alarm.advance(end_us), second) if due is not None and due <= end_us else []
    told: list[Placed] = []
    breaks = np.flatnonzero((np.diff(zones) != 0) | (seconds.gap_us[1:] > 0)) + 1
    for begin, end in itertools.pairwise([0, *breaks.tolist(), len(zones)]):
        if seconds.gap_us[begin] > 0:
            told += [(begin, t) for t in alarm.silent(int(second[begin]) * SECOND_US)]
        for at in _matter(alarm, zones, values, begin, end):
            celsius = float(seconds.celsius[at])
            told += _placed(alarm.advance(int(second[at]) * SECOND_US), second)
            told += [(at, t) for t in alarm.take(int(second[at]) * SECOND_US, float(values[at]), celsius=celsius)]
            told += _placed(alarm.advance(int(second[at] + 1) * SECOND_US), second)
        told += _placed(alarm.advance(int(second[end - 1] + 1) * SECOND_US), second)
    return told


def _matter(alarm: LimitAlarm, zones: Ints, values: Floats, begin: int, end: int) -> list[int]:
    """The seconds of a run that change anything: its first; beyond the setpoint each, once raised the worse ones."""
    if zones[begin] != BEYOND:
        return [begin]
    if not alarm.state.active or alarm.state.alarm is None:
        return list(range(begin, end))
    worst = alarm.state.alarm.worst
    run = values[begin:end] if alarm.side == "high" else -values[begin:end]
    bound = -np.inf if worst is None else worst if alarm.side == "high" else -worst
    return [begin, *(begin + k for k in np.flatnonzero(run > bound).tolist() if k)]


def _zones(alarm: LimitAlarm, values: Floats, celsius: Floats) -> Ints:
    """Zone of each second, as `LimitAlarm.zone_of` says it of one."""
    limit, setpoint = alarm.limit, _setpoints(alarm, celsius)
    high = alarm.side == "high"
    clear = values <= setpoint - limit.deadband if high else values >= setpoint + limit.deadband
    if clear.all() and limit.deadband > 0:  # nearly always
        return np.full(len(values), CLEAR)
    beyond = values >= setpoint if high else values <= setpoint
    zones = np.where(beyond, BEYOND, np.where(clear, CLEAR, BETWEEN))
    zones[np.isnan(values)] = UNKNOWN
    return zones


def _setpoints(alarm: LimitAlarm, celsius: Floats) -> Floats | float:
    """The setpoint of each second, or the one of all."""
    first = alarm.limit.setpoint(alarm.side, float(celsius[0]))
    assert first is not None  # an alarm is made of a side that is limited
    if not alarm.limit.by_celsius or (celsius == celsius[0]).all() or np.isnan(celsius).all():
        return first
    known, place = np.unique(celsius, return_inverse=True)
    found = [alarm.limit.setpoint(alarm.side, value) for value in known.tolist()]
    return np.array(found, np.float64)[place]


def _placed(told: list[Transition], second: Ints) -> list[Placed]:
    """Each with the first second whose end is not before it."""
    ends = (second + 1) * SECOND_US
    return [(min(int(np.searchsorted(ends, t.at)), len(second) - 1), t) for t in told]


def judge_silence(alarm: LimitAlarm, seconds: Seconds, pauses: list[tuple[int, int]]) -> list[Placed]:
    """Hand the pauses between samples (µs, before and behind) that begin in these seconds to the alarm, and its end."""
    state, second = alarm.state, seconds.second
    if state.zone == "clear" and not pauses and not state.active:
        return []
    told: list[Placed] = []
    waiting = list(pauses)
    for at, start in enumerate(second.tolist()):
        ahead = (state.at_us or 0) >= (start + 1) * SECOND_US  # a silence behind this second has been told already
        if state.zone != "clear" and not ahead:
            told += [(at, t) for t in alarm.take(max(start * SECOND_US, state.at_us or 0), 0.0)]
        elif state.active:
            told += [(at, t) for t in alarm.advance((start + 1) * SECOND_US)]
        while waiting and waiting[0][0] // SECOND_US <= start:
            before, behind = waiting.pop(0)
            told += [(at, t) for t in still_silent(alarm, before, behind)]
            told += [(at, t) for t in alarm.take(behind, (behind - before) / SECOND_US)]
    return told


def still_silent(alarm: LimitAlarm, before_us: int, t_us: int) -> list[Transition]:
    """The last sample was at `before_us`, and none came until `t_us`."""
    high = alarm.limit.high
    if high is None or t_us - before_us < round(high * SECOND_US):
        return []
    return [*alarm.take(before_us + round(high * SECOND_US), high), *alarm.advance(t_us)]
