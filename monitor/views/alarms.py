"""Two sets of rules side by side: the alarms that each would have raised on one log."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from typing import IO

from monitor.base.alarms import Alarm
from monitor.base.errors import printable
from monitor.base.fields import Part
from monitor.views.alarm_rows import sentence
from monitor.views.figures import quantity_name
from monitor.views.lines import Lines
from monitor.views.words import LocalTime, count


class Compared(Part):
    """One alarm under each of two sets of rules; null: that set did not raise it."""

    quantity: str
    first: Alarm | None = None
    second: Alarm | None = None


class Comparison(Part):
    """What two sets of rules raise on one log; alarms on one quantity that overlap in time are one line."""

    rules: list[str]
    alarms: list[Compared]


def compare(names: Sequence[str], first: Sequence[Alarm], second: Sequence[Alarm], end_us: int) -> Comparison:
    """The alarms of two sets side by side, in order of time; `end_us`: the end of the log."""
    left, lines = list(second), []
    for alarm in first:
        same = next((other for other in left if _is_same(alarm, other, end_us)), None)
        if same is not None:
            left.remove(same)
        lines.append(Compared(quantity=alarm.quantity, first=alarm, second=same))
    lines += [Compared(quantity=alarm.quantity, second=alarm) for alarm in left]
    lines.sort(key=lambda line: (_raised(line), line.quantity))
    return Comparison(rules=list(names), alarms=lines)


def _is_same(a: Alarm, b: Alarm, end_us: int) -> bool:
    def end(alarm: Alarm) -> int:
        return end_us if alarm.returned is None else alarm.returned

    return (a.quantity, a.side) == (b.quantity, b.side) and a.since <= end(b) and b.since <= end(a)


def _raised(line: Compared) -> int:
    return min(alarm.raised for alarm in (line.first, line.second) if alarm is not None)


def print_comparison(
    found: Comparison,
    end_us: int,
    zone: tzinfo | None,
    relative: bool,
    file: IO[str] | None = None,
    width: int | None = None,
) -> None:
    """Print the counts, then each alarm with what either set says of it."""
    out, time = Lines(file, width), LocalTime(zone, relative)
    names = [printable(name) for name in found.rules]
    sides = [[line.first for line in found.alarms], [line.second for line in found.alarms]]
    for name, alarms in zip(names, sides, strict=True):
        out.wrapped(f"{name}: {count(sum(alarm is not None for alarm in alarms), 'alarm')}", weight="bold")
    if not found.alarms:
        out.line()
        out.wrapped("Neither set of rules raises an alarm on this log.")
        return
    column = max(map(len, names)) + 4
    for line in found.alarms:
        out.line()
        out.wrapped(f"{time.moment(_raised(line))}  {quantity_name(line.quantity)}", weight="bold")
        for name, alarm in zip(names, (line.first, line.second), strict=True):
            if alarm is None:
                out.wrapped("no alarm", column, f"  {name}")
                continue
            at = "" if alarm.raised == _raised(line) else f"{time.beside(alarm.raised, _raised(line))}, "
            out.wrapped(f"{at}{sentence(alarm, end_us)}", column, f"  {name}")
