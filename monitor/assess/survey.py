"""A fuse survey as a person writes it: CSV with a header, one fuse a line; what is wrong is told with its line.

Columns in any order: fuse, family, rating, millivolts; and, where wanted, resistance (milliohm, as measured), feeds
(the fuse upstream, through which this one is fed) and note. Delimiter , or ; and lines that begin with # are comments.
"""

from __future__ import annotations

import csv
import math
import re
from difflib import get_close_matches

from monitor.assess.fuses import RESISTANCES, UNPUBLISHED, Measured, cold_resistance, family_of
from monitor.base.errors import InputError

NEEDED = ("fuse", "family", "rating", "millivolts")
OPTIONAL = ("resistance", "feeds", "note")
COLUMNS = (*NEEDED, *OPTIONAL)
NUMBER = re.compile(r"([+-]?\d+(?:[.,](\d+))?)\s*(\S*)", re.ASCII)
UNITS = {"rating": ("", "A"), "millivolts": ("", "mV"), "resistance": ("", "mΩ", "m\N{OHM SIGN}", "mohm", "mOhm")}
MOST = {"rating": 500.0, "millivolts": 1000.0, "resistance": 10_000.0}  # our choice: beyond it is another unit
MOST_FUSES = 500  # our choice: no vehicle has more; a log given by mistake is refused


def read_survey(text: str, name: str) -> list[Measured]:
    """The fuses of a survey; raises InputError with `name`, line, what was expected and what was found.

    >>> read_survey("fuse,family,rating,millivolts\\nF1,ATO,10,0.45\\n", "survey.csv")[0].millivolts
    0.45
    """
    lines = ["" if line.lstrip().startswith("#") else line for line in text.removeprefix("\ufeff").splitlines()]
    head = next((number for number, line in enumerate(lines) if line.strip()), None)
    if head is None:
        raise InputError(f"{name}: no header", f"begin it with the line {','.join(COLUMNS)}")
    delimiter = ";" if lines[head].count(";") > lines[head].count(",") else ","
    rows = csv.reader(lines[head:], delimiter=delimiter, strict=True)
    found: dict[str, Measured] = {}
    try:
        columns = _columns(next(rows), name, head + 1)
        for row in rows:
            if not any(cell.strip() for cell in row):
                continue
            place = f"{name}, line {head + rows.line_num}"
            if len(row) != len(columns):
                raise InputError(
                    f"{place}: expected {len(columns)} fields; found {len(row)}",
                    f"give each line the columns of the header, divided by {delimiter}",
                )
            one = measured(dict(zip(columns, row, strict=True)), place)
            if one.fuse in found:
                raise InputError(f"{place}: {one.fuse} stands here twice", "give each fuse a name of its own")
            found[one.fuse] = one
            if len(found) > MOST_FUSES:
                raise InputError(f"{place}: more than {MOST_FUSES} fuses", "name the survey, not a log")
    except csv.Error as wrong:
        raise InputError(f"{name}, line {head + rows.line_num}: not CSV: {wrong}", "mend the quotes") from wrong
    if not found:
        raise InputError(f"{name}: no fuse below the header", "add a line a fuse, as F1,regular,10,0.45")
    _no_circle(found, name)
    return list(found.values())


def measured(row: dict[str, str], place: str) -> Measured:
    """One fuse from its fields; raises InputError that begins with `place`."""
    cells = {column: " ".join(row.get(column, "").split()) for column in COLUMNS}
    for column in NEEDED:
        if not cells[column]:
            raise InputError(f"{place}: {column} is missing", f"fill in {column}, or leave the line out")
    family = family_of(cells["family"])
    if family is None:
        near = get_close_matches(cells["family"].lower(), [*RESISTANCES, *UNPUBLISHED], n=1)
        remedy = f'did you mean "{near[0]}"? ' if near else ""
        raise InputError(
            f'{place}: expected a family of blade fuses; found "{cells["family"]}"',
            f"{remedy}known: {', '.join([*RESISTANCES, *UNPUBLISHED])}",
        )
    rating, _ = _number(cells["rating"], "rating", "10 A", place)
    millivolts, digit = _number(cells["millivolts"], "millivolts", "0.45", place)
    resistance = _number(cells["resistance"], "resistance", "7.7", place)[0] if cells["resistance"] else None
    if rating <= 0 or (resistance is not None and resistance <= 0):
        raise InputError(f"{place}: rating and resistance are more than zero", "correct the line")
    if resistance is None and cold_resistance(family, rating) is None:
        known = ", ".join(f"{known:g}" for known in RESISTANCES.get(family, ()))
        published = f"published for {family}: {known} A; " if known else f"none is published for {family} fuses; "
        raise InputError(
            f"{place}: no published resistance for {family} {rating:g} A",
            f"{published}measure one of the same make with a milliohm meter and enter it in the column resistance",
        )
    if cells["feeds"] == cells["fuse"]:
        raise InputError(f"{place}: {cells['fuse']} cannot feed itself", "name the fuse upstream, or leave feeds empty")
    return Measured(
        cells["fuse"], family, rating, abs(millivolts), digit, resistance, cells["feeds"] or None, cells["note"]
    )


def _columns(row: list[str], name: str, line: int) -> list[str]:
    columns = [cell.strip().lower() for cell in row]
    for column in columns:
        if column not in COLUMNS:
            near = get_close_matches(column, COLUMNS, n=1)
            remedy = f'did you mean "{near[0]}"? ' if near else ""
            raise InputError(f'{name}, line {line}: unknown column "{column}"', f"{remedy}known: {', '.join(COLUMNS)}")
    missing = [column for column in NEEDED if column not in columns]
    if missing or len(set(columns)) < len(columns):
        what = f"the column {missing[0]} is missing" if missing else "a column stands there twice"
        raise InputError(f"{name}, line {line}: {what}", f"write the header as {','.join(COLUMNS)}")
    return columns


def _number(text: str, column: str, example: str, place: str) -> tuple[float, float]:
    """The number, and the step of its last written digit."""
    found = NUMBER.fullmatch(text)
    value = float(found[1].replace(",", ".")) if found else math.nan
    if found is None or found[3] not in UNITS[column] or abs(value) > MOST[column]:
        unit = {"rating": "ampere", "millivolts": "millivolt", "resistance": "milliohm"}[column]
        raise InputError(
            f'{place}, {column}: expected a number in {unit} up to {MOST[column]:g}; found "{text}"',
            f"write it as {example}",
        )
    return value, 10.0 ** -len(found[2] or "")


def _no_circle(found: dict[str, Measured], name: str) -> None:
    for one in found.values():
        seen, above = {one.fuse}, one.feeds
        while above in found and above is not None:
            if above in seen:
                raise InputError(f"{name}: {one.fuse} feeds itself through {above}", "mend the column feeds")
            seen.add(above)
            above = found[above].feeds
