"""Course of the state of charge: settled open-circuit voltages as anchors, joined by counting charge.

An anchor is as wide as its table is honest (±10 %). Away from it the interval grows with all that moves charge unseen:
the doubt of the capacity, the share of a charge that goes into gas, the zero of the logger, unobserved time.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from monitor.assess.balance import net_ah
from monitor.assess.ratings import Capacity
from monitor.base.results import Drive, Rest, Result, Stand

# Ah in / Ah out to bring a charge back is 1.02 to 1.20 (AGM to flooded, from memory): so much less may be stored
STORED_LEAST = 1 / 1.20
SELF_DISCHARGE_A_DAY = 0.20 / 30.0  # up to 20 % a month (published range 3–20 %), as a share of the capacity
UNSEEN_STAND_TIMES = 3.0  # unobserved, a stand may take up to three times what it took while seen; our choice
UNSEEN_DRIVE_A = 20.0  # unobserved, a drive may move this either way; our choice
TREND_LEAST_DAYS = 1.0  # shorter is no trend; our choice


@dataclass(frozen=True, slots=True)
class Point:
    """State of charge at an instant (µs UTC), 0 to 1; `is_anchor`: read from a settled voltage."""

    at_us: int
    value: float
    low: float
    high: float
    is_anchor: bool


@dataclass(frozen=True, slots=True)
class Trend:
    """Change of the state of charge a day, with its interval, between two instants. The table's common error is out."""

    a_day: float
    low: float
    high: float
    first: Point
    last: Point


@dataclass(frozen=True, slots=True)
class Move:
    """How a stand or drive may have moved the charge, Ah: counted value, least, most."""

    value: float
    low: float
    high: float


def course(result: Result, capacity: Capacity) -> list[Point]:
    """A point at the end of each stand and drive from the first anchor on; empty without an anchor.

    Where two ways lead to a point, a new anchor or counting on from the old, the narrower is taken.
    """
    points: list[Point] = []
    for part in parts_of(result):
        end_us = end_of(part, result)
        counted = _moved(points[-1], part, end_us, capacity) if points else None
        anchor = _anchor(part, end_us)
        if anchor is not None and (counted is None or anchor.high - anchor.low <= counted.high - counted.low):
            points.append(anchor)
        elif counted is not None:
            points.append(counted)
        elif points:
            points = []  # charge was moved that nobody counted: start anew at the next anchor
    return points


def trend(result: Result, points: list[Point], capacity: Capacity) -> Trend | None:
    """Change of the state of charge a day over `points`; None without an anchor or in less than a day.

    From counting alone: the anchors' tables err alike at both ends, so their width is no doubt of the change.
    """
    if not points:
        return None
    after = [part for part in parts_of(result) if part.start >= points[0].at_us]
    days = (points[-1].at_us - points[0].at_us) / 86_400e6
    if days < TREND_LEAST_DAYS or not after:
        return None
    moves = [move_of(part, end_of(part, result), capacity) for part in after]
    known = [move for move in moves if move is not None]
    if len(known) < len(moves):
        return None
    value = sum(m.value for m in known) / capacity.ah
    low, high = sum(m.low for m in known), sum(m.high for m in known)
    ends = (low / capacity.low_ah, low / capacity.high_ah, high / capacity.low_ah, high / capacity.high_ah)
    return Trend(value / days, min(ends) / days, max(ends) / days, points[0], points[-1])


def parts_of(result: Result) -> list[Stand | Drive]:
    """Stands and drives in time order."""
    parts: list[Stand | Drive] = [*result.stands, *result.drives]
    return sorted(parts, key=lambda part: part.start)


def end_of(part: Stand | Drive, result: Result) -> int:
    """End of a part; of an open one, the end of the log."""
    return part.end if part.end is not None else result.log.last or part.start


def move_of(part: Stand | Drive, end_us: int, capacity: Capacity) -> Move | None:
    """How the part may have moved the stored charge; None: its current is not known."""
    net = net_ah(part)
    if net is None or part.charge_in_ah is None or part.charge_out_ah is None:
        return None
    hours = max((end_us - part.start) / 3600e6, 1e-6)
    unseen_h = part.unobserved_s / 3600.0
    seen_h = max(hours - unseen_h, 1e-6)
    leak = SELF_DISCHARGE_A_DAY * capacity.high_ah * hours / 24.0
    if isinstance(part, Stand):
        unseen_low, unseen_high = -UNSEEN_STAND_TIMES * part.charge_out_ah / seen_h * unseen_h, 0.0
    else:
        unseen_low, unseen_high = -UNSEEN_DRIVE_A * unseen_h, UNSEEN_DRIVE_A * unseen_h
    lost = (1 - STORED_LEAST) * part.charge_in_ah
    return Move(net - lost / 2, net - lost - leak + unseen_low, net + unseen_high)


def sentences(found: Trend) -> list[str]:
    """The trend in words."""
    change = (
        "cannot be told from steady"
        if found.low < 0.0 < found.high
        else f"{'rises' if found.a_day > 0 else 'falls'} {abs(found.a_day) * 100:.1f} % a day"
    )
    days = (found.last.at_us - found.first.at_us) / 86_400e6
    return [
        f"State of charge {change} ({_signed(found.low)} to {_signed(found.high)} % a day over {days:.1f} days):"
        f" {found.last.value * 100:.0f} % at the end"
        f" ({found.last.low * 100:.0f} to {found.last.high * 100:.0f} %)."
    ]


def settled_rests(result: Result) -> list[tuple[Stand, Rest]]:
    """Stands that end in a settled open-circuit voltage, in time order."""
    return [(s, s.rest) for s in sorted(result.stands, key=lambda s: s.start) if s.rest.settled and s.rest.ocv_volts]


def between(result: Result, first: Stand, last: Stand) -> list[Stand | Drive]:
    """What lies between the ends of two stands: the parts that moved charge from one voltage to the other."""
    parts = parts_of(result)
    starts = [part.start for part in parts]
    assert all(a <= b for a, b in pairwise(starts))  # sorted
    return [part for part in parts if first.start < part.start <= last.start]


def _anchor(part: Stand | Drive, end_us: int) -> Point | None:
    rest = part.rest if isinstance(part, Stand) else None
    if rest is None or not rest.settled or rest.state_of_charge is None:
        return None
    low, high = rest.state_of_charge_low, rest.state_of_charge_high
    if low is None or high is None:
        return None
    return Point(end_us, rest.state_of_charge, low, high, True)


def _moved(point: Point, part: Stand | Drive, end_us: int, capacity: Capacity) -> Point | None:
    move = move_of(part, end_us, capacity)
    if move is None:
        return None
    low = point.low + min(move.low / capacity.low_ah, move.low / capacity.high_ah)
    high = point.high + max(move.high / capacity.low_ah, move.high / capacity.high_ah)
    value = min(max(point.value + move.value / capacity.ah, 0.0), 1.0)
    return Point(end_us, value, min(max(low, 0.0), value), max(min(high, 1.0), value), False)


def _signed(share: float) -> str:
    return f"{share * 100:+.1f}".replace("-", "−")
