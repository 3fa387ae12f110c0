"""Stands cut into nights, the unit of proof: at noon, at the repair; what each night drew and what woke it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import pairwise

from monitor.base.fields import EPOCH
from monitor.base.results import Result, Stand

LEAST_H = 4.0  # a stand this long has a night's worth of sleep: common practice
NIGHT_FROM_H, NIGHT_TO_H = 22, 6  # local hours of the night; our choice
NOON_H = 12
LEAST_SEEN = 0.5  # our choice: a night less than half observed says too little
HOUR_US = 3_600_000_000


@dataclass(frozen=True, slots=True)
class Night:
    """One night; None where unknown.

    hours            observed
    sleep_ma         sleep current, drain positive
    wake_ups         how many began in it, without those of groups that fit a published normal pattern
    out_ma           charge out over its hours, as a mean current; only of a whole stand
    decay_mv_per_h   of the rest voltage, positive falling; only of a whole stand
    """

    start: int
    end: int
    hours: float
    sleep_ma: float | None
    wake_ups: int | None
    out_ma: float | None
    decay_mv_per_h: float | None

    @property
    def level_ma(self) -> float | None:
        """Sleep current; of a night without sleep what it drew in the mean."""
        return self.out_ma if self.sleep_ma is None else self.sleep_ma


def local_day(t_us: int, zone: tzinfo) -> str:
    """ISO date of a moment on the local clock.

    >>> local_day(0, UTC)
    '1970-01-01'
    """
    return _local(t_us, zone).date().isoformat()


def nights_of(result: Result, repair_at: int, zone: tzinfo) -> list[Night]:
    """The nights of all stands in time order; none lies across `repair_at`."""
    last = result.log.last
    normal = {group.group for group in result.wake_up_groups if group.pattern and not group.growing}
    found = []
    for stand in result.stands:
        end = stand.end if stand.end is not None else last
        if end is None:
            continue
        for start, stop in _pieces(stand.start, end, repair_at, zone):
            night = _night(result, stand, normal, start, stop, whole=(start, stop) == (stand.start, end))
            if (stop - start) >= LEAST_H * HOUR_US and night.hours >= LEAST_SEEN * (stop - start) / HOUR_US:
                found.append(night)
    return found


def _pieces(start: int, end: int, repair_at: int, zone: tzinfo) -> Iterator[tuple[int, int]]:
    """Parts of a stand that are nights: cut at the repair and, when it holds more than one night, at noons between."""
    cuts = [start, *([repair_at] if start < repair_at < end else []), end]
    for a, b in pairwise(cuts):
        day = _local(a, zone).date() - timedelta(days=1)
        nights = []
        while (first := _at(day, NIGHT_FROM_H, zone)) < b:
            if _at(day + timedelta(days=1), NIGHT_TO_H, zone) > a:
                nights.append((day, first))
            day += timedelta(days=1)
        for place, (day, _) in enumerate(nights):
            begin = a if place == 0 else _at(day, NOON_H, zone)
            stop = b if place == len(nights) - 1 else _at(day + timedelta(days=1), NOON_H, zone)
            yield max(a, begin), min(b, stop)


def _night(result: Result, stand: Stand, normal: set[int], start: int, end: int, whole: bool) -> Night:
    with_amps = "amps" in result.log.channels
    gaps = sum(max(0, min(gap.end, end) - max(gap.start, start)) for gap in result.log.gaps)
    hours = max(end - start - gaps, 0) / HOUR_US
    woken = sum(start <= wake.start < end and wake.group not in normal for wake in stand.wake_ups)
    woken += stand.wake_ups_uncounted if whole else 0
    out = stand.charge_out_ah if whole else None
    sleep_a = stand.sleep_current_a if whole else _plateau(stand, start, end)
    return Night(
        start,
        end,
        hours,
        None if sleep_a is None else sleep_a * 1000,
        woken if with_amps and sleep_a is not None else None,
        out * 1000 / hours if out is not None and hours else None,
        stand.rest.decay_mv_per_h if whole else None,
    )


def _plateau(stand: Stand, start: int, end: int) -> float | None:
    """Mean drain of the plateaus inside a piece, weighed by their time in it."""
    inside = [(min(p.end, end) - max(p.start, start), -p.amps) for p in stand.plateaus]
    held = [(span, amps) for span, amps in inside if span > 0]
    return sum(span * amps for span, amps in held) / sum(span for span, _ in held) if held else None


def _local(t_us: int, zone: tzinfo) -> datetime:
    return (EPOCH + timedelta(microseconds=t_us)).astimezone(zone)


def _at(day: date, hour: int, zone: tzinfo) -> int:
    """Microseconds UTC of a full hour on the local clock of a day."""
    moment = datetime.combine(day, time(hour), zone).astimezone(UTC)
    return (moment - EPOCH) // timedelta(microseconds=1)
