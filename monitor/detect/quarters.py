"""Charge by quarter hours of UTC, from which the balance of each local day is added up.

Every time zone's midnight lies on a quarter hour, so no cell belongs to two days. A quarter hour is told once it has
ended, like a stand; only the open one is remembered. Charge is in whole nanocoulomb: sums are exact in any order.
Warm-up: none. A gap carries no charge; how long it was is told by the quarter hour in which it ends.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

import numpy as np

from monitor.base.fields import EPOCH, Span
from monitor.base.results import DayBalance, QuarterHour
from monitor.base.samples import SECOND_US, Seconds

QUARTER_S = 900
AH_PER_NC = 1e-9 / 3600.0


@dataclass(slots=True)
class QuartersState:
    """The open quarter hour: its number since 1970 UTC (None: none yet) and what it holds so far."""

    number: int | None = None
    in_nc: int = 0
    out_nc: int = 0
    gap_us: int = 0
    counted: bool = False


class QuarterHours:
    """Adds up whole seconds."""

    def __init__(self) -> None:
        self.state = QuartersState()

    def update(self, seconds: Seconds) -> list[QuarterHour]:
        """Take the next whole seconds; returns the quarter hours that have ended."""
        ended: list[QuarterHour] = []
        if not len(seconds):
            return ended
        numbers = seconds.second // QUARTER_S
        starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 1))
        sums = [np.add.reduceat(part, starts) for part in (seconds.in_nc, seconds.out_nc, seconds.gap_us)]
        counted = np.logical_or.reduceat(np.isfinite(seconds.amps), starts)
        for number, into, out, gap, seen in zip(numbers[starts], *sums, counted, strict=True):
            if self.state.number != int(number):
                ended += self.flush()
                self.state = QuartersState(int(number))
            state = self.state
            state.in_nc += int(into)
            state.out_nc += int(out)
            state.gap_us += int(gap)
            state.counted = state.counted or bool(seen)
        return ended

    def flush(self) -> list[QuarterHour]:
        """The open quarter hour as it stands."""
        state = self.state
        if state.number is None:
            return []
        return [
            QuarterHour(
                start=state.number * QUARTER_S * SECOND_US,
                in_nc=state.in_nc,
                out_nc=state.out_nc,
                gap_us=state.gap_us,
                counted=state.counted,
            )
        ]


def days_of(
    quarters: list[QuarterHour], gaps: list[Span], unobserved_s: float, zone: tzinfo | None
) -> list[DayBalance]:
    """Balance of each local day in `zone` (None: this computer's), from the first to the last with a sample.

    gaps           as the log lists them; each is shared out to the days it lies in
    unobserved_s   of the whole log; where the list of gaps is shorter than that, gaps count for the day they end in

    >>> cell = QuarterHour(start=0, in_nc=0, out_nc=3_600_000_000_000, gap_us=0, counted=True)
    >>> [(d.day, d.out_ah) for d in days_of([cell], [], 0.0, UTC)]
    [('1970-01-01', 1.0)]
    """
    if not quarters:
        return []
    first, last = _day(quarters[0].start, zone), _day(quarters[-1].start, zone)
    days = [first + timedelta(days=k) for k in range((last - first).days + 1)]
    charge = dict.fromkeys(days, (0, 0))
    counted = dict.fromkeys(days, False)
    hidden_us = dict.fromkeys(days, 0)
    listed = abs(sum(gap.end - gap.start for gap in gaps) / SECOND_US - unobserved_s) < 1.0
    for cell in quarters:
        day = _day(cell.start, zone)
        charge[day] = (charge[day][0] + cell.in_nc, charge[day][1] + cell.out_nc)
        counted[day] = counted[day] or cell.counted
        hidden_us[day] += 0 if listed else cell.gap_us
    for gap in gaps if listed else []:
        for day, length_us in _shared(gap, zone):
            hidden_us[day] = hidden_us.get(day, 0) + length_us
    return [
        DayBalance(
            day=day.isoformat(),
            in_ah=charge[day][0] * AH_PER_NC if counted[day] else None,
            out_ah=charge[day][1] * AH_PER_NC if counted[day] else None,
            net_ah=(charge[day][0] - charge[day][1]) * AH_PER_NC if counted[day] else None,
            unobserved_s=hidden_us[day] / SECOND_US,
        )
        for day in days
    ]


def _day(t_us: int, zone: tzinfo | None) -> date:
    return (EPOCH + timedelta(microseconds=t_us)).astimezone(zone).date()


def _midnight_us(day: date, zone: tzinfo | None) -> int:
    at = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
    return (at - EPOCH) // timedelta(microseconds=1)


def _shared(gap: Span, zone: tzinfo | None) -> Iterable[tuple[date, int]]:
    """The days a gap lies in, and how much of it in each, µs."""
    begin, day = gap.start, _day(gap.start, zone)
    while begin < gap.end:
        day += timedelta(days=1)
        end = min(_midnight_us(day, zone), gap.end)
        if end > begin:
            yield day - timedelta(days=1), end - begin
            begin = end
