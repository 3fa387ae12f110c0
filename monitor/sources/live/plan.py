"""What the first lines of a live logger say about the others: the layout of the recorded logs, and where time is from.

A logger may also send lines without a time, or with one that counts from when it was switched on. Such lines are given
the time of their arrival, as a last column or in place of the count, and from then on they are lines of a log like any
other: they are parsed as such, and recorded as such.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from monitor.base.errors import InputError
from monitor.base.vehicle import LogSettings
from monitor.sources import times
from monitor.sources.admit import Bounds
from monitor.sources.header import recognise
from monitor.sources.layout import (
    HEADER_WITHIN,
    SEPARATORS,
    Layout,
    find_layout,
    is_comment,
    no_volts,
    not_found,
    several,
    split,
)
from monitor.sources.rows import CHANNELS

STAMP = "2000-01-01T00:00:00.000000Z"  # stands for a time of arrival while the layout is sought
_VIRTUAL = -1


@dataclass(frozen=True, slots=True)
class Plan:
    """How to read the lines.

    layout   of the lines as they are parsed
    head     the lines that name the columns, as they are parsed; empty when nothing names them
    titles   lines above those, as they came
    above    lines above the data, as they came
    own      the header as it came; None: there was none
    times    "own"; "appended": the time of arrival becomes the last column; "counted": it replaces a count
    unit_us  µs per unit of the count
    """

    layout: Layout
    head: tuple[str, ...]
    titles: int
    above: int
    own: str | None
    times: Literal["own", "appended", "counted"] = "own"
    unit_us: float = 1.0

    @property
    def shows_damage(self) -> bool:
        """Whether a line that lacks its beginning cannot be taken for a whole one: the time stands first, as a date."""
        return self.times == "own" and self.layout.time == (0,) and self.layout.time_plan.kind in ("zoned", "local")

    def stamped(self, line: str, iso: str) -> str:
        """The line as it is parsed, when it came at that time."""
        if self.times == "own" or not line.strip():
            return line
        if line == self.own:
            return self.head[0]
        if self.times == "appended":
            return f"{line}{self.layout.separator}{iso}"
        cells = line.split(self.layout.separator)
        if len(cells) > self.layout.time[0]:
            cells[self.layout.time[0]] = iso
        return self.layout.separator.join(cells)

    def count_us(self, line: str) -> int | None:
        """The count that stands in the line; None when none does."""
        cells = line.split(self.layout.separator)
        try:
            return round(float(cells[self.layout.time[0]].replace(",", ".")) * self.unit_us)
        except (IndexError, ValueError, OverflowError):
            return None


def make_plan(name: str, lines: Sequence[str], settings: LogSettings, nominal_v: float) -> Plan:
    """The plan of a logger that begins with these lines; raises InputError, which says what is not clear."""
    try:
        plan = _timed(name, lines, settings)
    except InputError:
        if (found := _without_time(name, lines, settings, nominal_v)) is None:
            raise
        plan = found
    layout = plan.layout
    columns = split(layout.header.lstrip(" #/;"), layout.separator)
    for channel in CHANNELS:
        said = getattr(settings, channel).column
        if said is not None and channel not in layout.channels:
            raise not_found(name, channel, said, columns)
    for channel in ("volts", "amps"):
        if channel in layout.unclear:
            raise several(name, channel, layout.unclear[channel])
    if "volts" not in layout.channels:
        raise no_volts(name, columns, next((c for c in columns if c), "COLUMN"))
    return plan


def _timed(name: str, lines: Sequence[str], settings: LogSettings) -> Plan:
    layout = find_layout(name, lines, _with_time(lines, settings))
    header = lines.index(layout.header) if layout.header else layout.header_lines
    head = tuple(lines[header : layout.header_lines])
    plan = Plan(layout, head, header, layout.header_lines, layout.header or None)
    if not layout.time_plan.relative or len(layout.time) > 1:
        return plan
    counted = replace(plan, times="counted", unit_us=layout.time_plan.unit_us)
    rows = [counted.stamped(line, STAMP) for line in lines[layout.header_lines :]]
    return replace(counted, layout=find_layout(name, [*lines[: layout.header_lines], *rows], settings))


def _with_time(lines: Sequence[str], settings: LogSettings) -> LogSettings:
    """The settings; where they give the columns by number and no time, with the one column that holds dates."""
    said = _numbers(settings)
    if "volts" not in said or settings.time.column is not None:
        return settings
    for separator in SEPARATORS:
        rows = _rows(lines, separator)
        width = min((len(row) for row in rows), default=0)
        if width < max(said.values()):
            continue
        dates = [i for i in range(width) if i + 1 not in said.values() and _is_date([row[i] for row in rows])]
        if len(dates) == 1:
            time = settings.time.model_copy(update={"column": dates[0] + 1})
            return settings.model_copy(update={"time": time})
    return settings


def _is_date(cells: Sequence[str]) -> bool:
    plan = times.plan(cells)
    return not isinstance(plan, str) and not plan.relative


def _without_time(name: str, lines: Sequence[str], settings: LogSettings, nominal_v: float) -> Plan | None:
    """The plan of lines that carry no time; None when they are not understood."""
    found = _headed(lines, settings) or _numbered(lines, settings) or _lone_volts(lines, settings, nominal_v)
    if found is None:
        return None
    index, separator, names = found
    header = separator.join([*names, "time"])
    rows = [f"{line}{separator}{STAMP}" if line.strip() else line for line in lines[index + 1 :]]
    layout = find_layout(name, [header, *rows], settings)
    if layout.time != (len(names),):
        return None
    own = None if index == _VIRTUAL else lines[index]
    units = rows[: layout.header_lines - 1]  # a row of units below the header
    return Plan(layout, (header, *units), max(index, 0), index + layout.header_lines, own, "appended")


def _headed(lines: Sequence[str], settings: LogSettings) -> tuple[int, str, list[str]] | None:
    """The header that names volts but no time, with a row of numbers below it: its line, separator and names."""
    best: tuple[int, int, int, str, list[str]] | None = None
    for separator in SEPARATORS:
        for index, line in enumerate(lines[:HEADER_WITHIN]):
            text = line.lstrip(" #/;") if is_comment(line, separator) else line
            cells = split(text, separator)
            if not cells or any(_is_number(cell) for cell in cells):
                continue
            roles = recognise(cells, settings)
            if roles.time or not ("volts" in roles.channels or "volts" in roles.unclear):
                continue
            below = _rows(lines[index + 1 : index + 4], separator)
            if not any(len(row) == len(cells) and any(map(_is_number, row)) for row in below):
                continue
            score = len(roles.channels)
            if best is None or (score, len(cells)) > best[:2]:
                best = (score, len(cells), index, separator, cells)
    return None if best is None else best[2:]


def _numbered(lines: Sequence[str], settings: LogSettings) -> tuple[int, str, list[str]] | None:
    """Columns that the vehicle file gives by number, for lines that have no header."""
    said = _numbers(settings)
    if "volts" not in said or settings.time.column is not None:
        return None
    for separator in reversed(SEPARATORS):  # a comma may be a decimal sign
        rows = _rows(lines, separator)
        if not rows:
            continue
        width = Counter(len(row) for row in rows).most_common(1)[0][0]
        fits = [row for row in rows if len(row) == width and all(_is_number(row[n - 1]) for n in said.values())]
        if width >= max(said.values()) and 2 * len(fits) > len(rows):
            of = {number: channel for channel, number in said.items()}
            return _VIRTUAL, separator, [of.get(i + 1, f"column {i + 1}") for i in range(width)]
    return None


def _lone_volts(lines: Sequence[str], settings: LogSettings, nominal_v: float) -> tuple[int, str, list[str]] | None:
    """A single column of numbers that are all believable volts of this battery, with nothing said to the contrary."""
    said = [getattr(settings, channel).column for channel in CHANNELS] + [settings.time.column]
    low, high = Bounds.of(nominal_v).volts
    rows = [line.strip() for line in lines if line.strip()]
    if any(column is not None for column in said) or not rows:
        return None
    fits = [row for row in rows if _is_number(row) and low <= float(row.replace(",", ".")) <= high]
    return (_VIRTUAL, ";", ["volts"]) if 2 * len(fits) > len(rows) else None


def _numbers(settings: LogSettings) -> dict[str, int]:
    """Columns that the vehicle file gives by number."""
    said = {channel: getattr(settings, channel).column for channel in CHANNELS}
    return {channel: column for channel, column in said.items() if isinstance(column, int)}


def _rows(lines: Sequence[str], separator: str) -> list[list[str]]:
    return [split(line, separator) for line in lines if line.strip() and not is_comment(line, separator)]


def _is_number(cell: str) -> bool:
    try:
        float(cell.strip().replace(",", "."))
    except ValueError:
        return False
    return True
