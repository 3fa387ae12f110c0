"""The layout of a delimited text log: separator, decimal sign, where the data begin, what each column is."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.base.errors import InputError
from monitor.base.vehicle import LogSettings
from monitor.sources import times
from monitor.sources.header import Roles, Source, recognise
from monitor.sources.units import unit_of

SEPARATORS = (",", ";", "\t", "|")
LOGS = "give a delimited text, Parquet, Arrow or SenML log"
COMMENTS = ("#", "//")
HEADER_WITHIN = 60  # lines searched for a header; our choice: loggers write title blocks of up to some 40 lines
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+")


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read one delimited log.

    separator, decimal   as written
    header_lines         lines before the data
    header               the header line as written; "" where the log has none
    columns              number of columns
    time, time_plan      column of the time (or of date and time), and how it is written
    channels             where each channel comes from
    unclear              channels for which several columns fit: those columns
    """

    separator: str
    decimal: str
    header_lines: int
    header: str
    columns: int
    time: tuple[int, ...]
    time_plan: times.TimePlan
    channels: dict[str, Source]
    unclear: dict[str, list[str]]


def split(line: str, separator: str) -> list[str]:
    """Cells of one line, quotes taken off."""
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return []


def is_comment(line: str, separator: str) -> bool:
    """Whether a line among the data is a remark of the logger rather than a row."""
    start = line.lstrip()
    return start.startswith(COMMENTS) or (separator != ";" and start.startswith(";"))


def find_layout(file: str, lines: Sequence[str], settings: LogSettings) -> Layout:
    """The layout of a log that begins with these lines; raises InputError where there is none."""
    best: tuple[int, int, str, Roles] | None = None  # score, line, separator, roles
    for separator in SEPARATORS:
        for index, line in enumerate(lines[:HEADER_WITHIN]):
            found = _try(line, separator, settings)
            if found is None:
                continue
            score = found[0] + 1_000_000 * _is_above_data(lines, index, separator)
            if best is None or score > best[0]:
                best = (score, index, separator, found[1])
    numbered = _by_number(file, lines, settings)
    if numbered is not None and (best is None or not (best[3].time and best[3].channels)):
        return numbered
    if best is None or not best[3].time or not (best[3].channels or best[3].unclear):
        raise _no_header(file, lines, best, settings)
    _, index, separator, roles = best
    return _layout(file, lines, index, separator, roles, settings)


def named_columns(line: str, settings: LogSettings) -> tuple[str, Roles] | None:
    """Separator and roles of a line that names columns, at least one of a channel, as a header does; None: it does not.

    >>> named_columns("time;volts", LogSettings())[0], named_columns("12.5;0.3", LogSettings())
    (';', None)
    """
    found = [(*tried, separator) for separator in SEPARATORS if (tried := _try(line, separator, settings))]
    found = [one for one in found if one[1].channels]
    if not found:
        return None
    _, roles, separator = max(found, key=lambda one: one[0])
    return separator, roles


def several(where: str, channel: str, columns: Sequence[str]) -> InputError:
    """The error that more than one column could hold the channel, with the setting to write."""
    return InputError(
        f"{where}: several columns could hold {channel}: {', '.join(columns)}",
        f'name one in the vehicle file: [log] {channel} = {{ column = "{columns[0]}" }}',
    )


def _try(line: str, separator: str, settings: LogSettings) -> tuple[int, Roles] | None:
    comment = is_comment(line, separator)
    text = line.lstrip(" #/;") if comment else line
    cells = split(text, separator)
    if len(cells) < 2 or any(_NUMBER.fullmatch(cell.strip()) for cell in cells):
        return None
    roles = recognise(cells, settings)
    score = 10 * bool(roles.time) + 3 * len(roles.channels) + 2 * len(roles.unclear)
    if not score:
        return None
    # Among equals a plain line is preferred to a comment, and more columns to fewer (";" with decimal commas).
    return 1000 * score + 10 * len(cells) - comment, roles


def _is_above_data(lines: Sequence[str], index: int, separator: str) -> bool:
    """Whether the next row has as many cells as this line, and a number among them."""
    rows = _rows(lines[index + 1 : index + 6], 0, separator)[:2]
    width = len(split(lines[index].lstrip(" #/;"), separator))
    return any(len(row) >= width and any(_NUMBER.fullmatch(cell.strip()) for cell in row) for row in rows)


def _rows(lines: Sequence[str], start: int, separator: str) -> list[list[str]]:
    data = [line for line in lines[start:] if line.strip() and not is_comment(line, separator)]
    return [split(line, separator) for line in data]


def _layout(file: str, lines: Sequence[str], index: int, separator: str, roles: Roles, settings: LogSettings) -> Layout:
    text = lines[index].lstrip(" #/;") if is_comment(lines[index], separator) else lines[index]
    header = split(text, separator)
    rows = _rows(lines, index + 1, separator)
    start = index + 1
    if rows and (units := _units_row(rows[0], roles)) is not None:  # a row of units below the header
        roles.channels.update(units)
        start = lines.index(next(ln for ln in lines[start:] if split(ln, separator) == rows[0]), start) + 1
        rows = rows[1:]
    if not rows:
        raise InputError(f"{file}: a header (line {index + 1}) but no rows below it", "check that the log was recorded")
    usual = Counter(len(row) for row in rows).most_common(1)[0][0]
    columns = usual if usual > len(header) and _all_blank_after(rows, len(header)) else len(header)
    return _finish(file, separator, start, lines[index], columns, rows, roles, settings)


def _finish(
    file: str,
    separator: str,
    start: int,
    header: str,
    columns: int,
    rows: list[list[str]],
    roles: Roles,
    settings: LogSettings,
) -> Layout:
    roles.check_units(f"{file}, line {start}")
    whole = [row for row in rows if len(row) == columns]
    time = roles.time
    plan = times.plan([_joined(row, time) for row in whole], roles.time_unit)
    if isinstance(plan, str) and len(time) == 2:  # the second of the two may hold the whole time
        alone = times.plan([row[time[1]] for row in whole], None)
        if not isinstance(alone, str):
            time, plan = (time[1],), alone
    cells = [row[source.column].strip() for row in whole for source in roles.channels.values()]
    if isinstance(plan, str) and not any(map(_NUMBER.fullmatch, cells)):
        raise _no_log(file, header)
    if isinstance(plan, str):
        raise InputError(
            f"{file}, line {start + 1}: no usable time: {plan}; expected ISO 8601, dd.mm.yyyy, Unix time or seconds",
            'name the time column in the vehicle file: [log] time = { column = "…" }, '
            "or write times as 2024-01-31T12:00:00Z",
        )
    decimal = "," if any(_DECIMAL_COMMA.fullmatch(cell) for cell in cells) else "."
    return Layout(separator, decimal, start, header, columns, time, plan, roles.channels, roles.unclear)


def _joined(row: Sequence[str], time: tuple[int, ...]) -> str:
    return " ".join(row[i].strip() for i in time)


def _all_blank_after(rows: Sequence[Sequence[str]], width: int) -> bool:
    return all(not cell.strip() for row in rows for cell in row[width:])


def _units_row(row: Sequence[str], roles: Roles) -> dict[str, Source] | None:
    found = {}
    for channel, source in roles.channels.items():
        if source.column >= len(row):
            return None
        unit = unit_of(channel, row[source.column].strip(" []()"))
        if unit is None:
            return None
        found[channel] = Source(source.column, unit, source.sign)
    return found or None


def _by_number(file: str, lines: Sequence[str], settings: LogSettings) -> Layout | None:
    """The layout when the vehicle file gives the columns by number; None when it does not, or they do not fit."""
    said = {c: getattr(settings, c) for c in ("volts", "amps", "celsius")}
    numbers = [s.column for s in said.values() if isinstance(s.column, int)]
    if not isinstance(settings.time.column, int) or not numbers:
        return None
    for separator in SEPARATORS:
        for index, line in enumerate(lines[:HEADER_WITHIN]):
            cells = split(line, separator)
            if is_comment(line, separator) or len(cells) < max(settings.time.column, *numbers):
                continue
            if isinstance(times.plan([cells[settings.time.column - 1]]), str):
                continue
            if not all(_NUMBER.fullmatch(cells[n - 1].strip()) or not cells[n - 1].strip() for n in numbers):
                continue
            roles = recognise([f"column {i + 1}" for i in range(len(cells))], settings)
            if not roles.channels:
                continue
            rows = _rows(lines, index, separator)
            return _finish(file, separator, index, "", len(cells), rows, roles, settings)
    return None


def _no_header(
    file: str, lines: Sequence[str], best: tuple[int, int, str, Roles] | None, settings: LogSettings
) -> InputError:
    if best is not None:
        _, index, separator, roles = best
        cells = [c.strip() for c in split(lines[index].lstrip(" #/;"), separator)]
        listed = ", ".join(cells)
        if not roles.time and settings.time.column is not None:
            return not_found(f"{file}, line {index + 1}", "time", settings.time.column, cells)
        if not roles.time:
            return InputError(
                f"{file}, line {index + 1}: no time column; the columns are: {listed}",
                f'name it in the vehicle file: [log] time = {{ column = "{cells[0]}" }}',
            )
        other = next((c for i, c in enumerate(cells) if i not in roles.time), cells[0])
        return no_volts(f"{file}, line {index + 1}", cells, other)
    for separator in SEPARATORS:
        rows = [split(line, separator) for line in lines if line.strip() and not is_comment(line, separator)]
        width = Counter(len(row) for row in rows).most_common(1)[0][0] if rows else 0
        if width < 2:
            continue
        first = next(row for row in rows if len(row) == width)
        if any(_NUMBER.fullmatch(cell.strip()) for cell in first):
            return InputError(
                f"{file}: no header names the columns; the first row is: {separator.join(first)}",
                "give the columns by number in the vehicle file: [log] time = { column = 1 }, volts = { column = 2 }",
            )
        listed = ", ".join(cell.strip() for cell in first)
        return InputError(
            f"{file}: expected a header with time and volts; the columns found are: {listed}",
            f'name them in the vehicle file: [log] time = {{ column = "{first[0].strip()}" }}, '
            f'volts = {{ column = "{first[1].strip()}" }}',
        )
    return _no_log(file, lines[0]) if lines else InputError(f"{file}: empty", LOGS)


def _no_log(file: str, found: str) -> InputError:
    return InputError(f"{file}: not a log: expected a header with time and volts, found {found[:60]!r}", LOGS)


def no_volts(where: str, columns: Sequence[str], example: str) -> InputError:
    """The error that no column holds volts, with the setting to write."""
    return InputError(
        f"{where}: no column holds volts; the columns are: {', '.join(columns)}",
        f'name it in the vehicle file: [log] volts = {{ column = "{example}" }}',
    )


def not_found(where: str, channel: str, said: str | int, columns: Sequence[str]) -> InputError:
    """The error that the column named in the vehicle file is not there."""
    name = f'"{said}"' if isinstance(said, str) else f"number {said}"
    return InputError(
        f"{where}: no column {name} for {channel}; the columns are: {', '.join(columns)}",
        f'mend it in the vehicle file: [log] {channel} = {{ column = "…" }}',
    )
