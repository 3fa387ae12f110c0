"""Nights before a repair held against nights after it, one quantity at a time.

Levels (sleep current, charge taken an hour, decay, charge lost a day) by Mann-Whitney with the Hodges-Lehmann shift.
Events (wake-ups, nights with wake-ups, nights above the limit) by the conditional test of two rates. Wake-ups are
counted one by one over the hours observed; where they come in clumps (index of dispersion), or the nights are too few
to see whether they do, they are no independent events and nights with wake-ups are counted instead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import tzinfo
from statistics import median
from typing import Literal

from monitor.assess.nights import Night, local_day
from monitor.assess.statistics import clumped, further_nights, further_time, rate_test, shift
from monitor.base.fields import Number, Part
from monitor.base.results import Result

ALPHA = 0.05
QUIET_NIGHTS = 5  # nights after the repair that a level needs; of a fault on every other night 1 in 32 hides so long:
# common practice
UNSEEN_S = 864.0  # our choice: of a day so much, a hundredth, may be unobserved and its balance still be told
CLUMP_NIGHTS = 3  # our choice: with fewer nights before the repair nobody sees whether wake-ups come in clumps

Name = Literal[
    "sleep_current",
    "nights_above_limit",
    "wake_ups",
    "nights_with_wake_ups",
    "charge_per_hour",
    "decay",
    "day_balance",
]


class Events(Part):
    """What a rate was made of: events in a time (nights or hours)."""

    before: int
    before_time: Number
    after: int
    after_time: Number


class Comparison(Part):
    """One quantity compared; lower is better.

    unit             of the values, or of the rates
    before, after    a value each night (each day for day_balance); of events their number
    middle_*         medians; of events the rates
    change           Hodges-Lehmann shift in `unit`; of events rate after over rate before
    low, high        its 95 % interval; None: so few nights carry none, or it is unbounded
    p                chance of such an improvement by itself, one-sided
    further_nights   more quiet nights until p is below 0.05, and until a level has its five; None: none would do
    decides          the answer rests on it
    """

    name: Name
    unit: str
    before: list[Number]
    after: list[Number]
    middle_before: Number
    middle_after: Number
    change: Number | None = None
    low: Number | None = None
    high: Number | None = None
    p: float
    further_nights: int | None = None
    events: Events | None = None
    decides: bool = False


def comparisons(
    result: Result, before: list[Night], after: list[Night], repair_at: int, zone: tzinfo, limit_ma: float
) -> list[Comparison]:
    """All that the nights on both sides know of; both sides hold at least one night."""
    levels = [n.level_ma for n in before], [n.level_ma for n in after]
    return [
        *_levels("sleep_current", "mA", *levels),
        *_above(limit_ma, *levels),
        *_wake_ups(before, after),
        *_levels("charge_per_hour", "mA", [n.out_ma for n in before], [n.out_ma for n in after]),
        *_levels("decay", "mV/h", [n.decay_mv_per_h for n in before], [n.decay_mv_per_h for n in after]),
        *_balance(result, repair_at, zone),
    ]


def _levels(name: Name, unit: str, before: Sequence[float | None], after: Sequence[float | None]) -> list[Comparison]:
    old, new = _known(before), _known(after)
    if not old or not new:
        return []
    moved, further = shift(old, new), further_nights(old, new, ALPHA)
    return [
        Comparison(
            name=name,
            unit=unit,
            before=old,
            after=new,
            middle_before=float(median(old)),
            middle_after=float(median(new)),
            change=moved.estimate,
            low=moved.low,
            high=moved.high,
            p=moved.p_lower,
            further_nights=None if further is None else max(further, QUIET_NIGHTS - len(new), 0),
        )
    ]


def _above(limit_ma: float, before: Sequence[float | None], after: Sequence[float | None]) -> list[Comparison]:
    """Nights above the limit, for a drain that comes and goes."""
    old, new = [int(v > limit_ma) for v in _known(before)], [int(v > limit_ma) for v in _known(after)]
    if not old or not new or not sum(old) + sum(new):
        return []
    return [_rate("nights_above_limit", "a night", _counted(old, new), 1.0, old, new)]


def _wake_ups(before: list[Night], after: list[Night]) -> list[Comparison]:
    old, new = [n for n in before if n.wake_ups is not None], [n for n in after if n.wake_ups is not None]
    counts, later = [n.wake_ups or 0 for n in old], [n.wake_ups or 0 for n in new]
    if not old or not new or not sum(counts) + sum(later):
        return []
    hours = [n.hours for n in old]
    if len(old) < CLUMP_NIGHTS or clumped(counts, hours) < ALPHA:
        showing = _counted([int(c > 0) for c in counts], [int(c > 0) for c in later])
        return [_rate("nights_with_wake_ups", "a night", showing, 1.0, counts, later)]
    total_h, later_h = math.fsum(hours), math.fsum(n.hours for n in new)
    events = Events(before=sum(counts), before_time=total_h, after=sum(later), after_time=later_h)
    return [_rate("wake_ups", "an hour", events, total_h / len(old), counts, later)]


def _rate(
    name: Name, unit: str, events: Events, night: float, before: Sequence[float], after: Sequence[float]
) -> Comparison:
    """Events compared; `night` is the time of one further night."""
    tested = rate_test(events.before, events.before_time, events.after, events.after_time)
    further = further_time(events.before, events.before_time / night, events.after, events.after_time / night, ALPHA)
    return Comparison(
        name=name,
        unit=unit,
        before=list(before),
        after=list(after),
        middle_before=events.before / events.before_time,
        middle_after=events.after / events.after_time,
        change=tested.ratio,
        low=tested.low,
        high=tested.high,
        p=tested.p_lower,
        further_nights=further,
        events=events,
    )


def _balance(result: Result, repair_at: int, zone: tzinfo) -> list[Comparison]:
    """Charge that whole days lost; the day of the repair belongs to neither side."""
    day = local_day(repair_at, zone)
    # the first and last day of a log are seldom whole
    days = [(d.day, -d.net_ah) for d in result.balance[1:-1] if d.net_ah is not None and d.unobserved_s <= UNSEEN_S]
    lost = [ah for when, ah in days if when < day], [ah for when, ah in days if when > day]
    return _levels("day_balance", "Ah lost a day", *lost)


def _known(values: Sequence[float | None]) -> list[float]:
    return [value for value in values if value is not None]


def _counted(before: list[int], after: list[int]) -> Events:
    return Events(before=sum(before), before_time=len(before), after=sum(after), after_time=len(after))
