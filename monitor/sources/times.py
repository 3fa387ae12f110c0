"""How a log writes its times, found out from its first rows, and such times as text → µs UTC."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
import numpy.typing as npt

from monitor.base.samples import Floats, Ints

Order = Literal["ymd", "dmy", "mdy"]

RELATIVE_BELOW_S = 2**28  # RFC 8428 §4.5.3: times below 2^28 s are not absolute
LATEST_US = 7_258_118_400_000_000  # 2200-01-01; our choice: a later time is garbage

_DAY = {
    "ymd": r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})",
    "dmy": r"(?P<d>\d{1,2})[-/.](?P<m>\d{1,2})[-/.](?P<y>\d{4})",
    "mdy": r"(?P<m>\d{1,2})[-/.](?P<d>\d{1,2})[-/.](?P<y>\d{4})",
}
_CLOCK = (
    r"(?:(?:T|,? +)(?P<H>\d{1,2})(?::(?P<M>\d{2})(?::(?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?)?)?"
    r" ?(?P<p>[AaPp][Mm])? ?(?P<z>Z|z|UTC|[+-]\d{2}(?::?\d{2})?)?)?"
)
_WHOLE = {order: re.compile(day + _CLOCK, re.ASCII) for order, day in _DAY.items()}
_EPOCH, _MICRO = datetime(1970, 1, 1), timedelta(microseconds=1)
# What pyarrow's own timestamp parser takes, so that the fast parse may be used.
_PLAIN_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d(:?\d\d)?)?")
_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?")
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d\d(:\d\d([.,]\d+)?)?( ?[AaPp][Mm])?")


@dataclass(frozen=True, slots=True)
class TimePlan:
    """How times are written.

    kind      "zoned" or "local": ISO 8601 that the fast parser reads; "text": any other date; "number"
    order     order of day, month, year in a "text"
    unit_us   µs per unit of a "number"
    relative  a "number" counts from the start of the log
    """

    kind: Literal["zoned", "local", "text", "number"]
    order: Order = "ymd"
    unit_us: float = 1e6
    relative: bool = False


def plan(cells: Sequence[str], unit: str | None = None) -> TimePlan | str:
    """How the given cells (of the first rows) write time, or what hinders, in words. `unit` as the header says.

    >>> plan(["2024-01-02 03:04:05"]).kind, plan(["1704164645123"]).unit_us, plan(["0.1"]).relative
    ('local', 1000.0, True)
    """
    cells = [cell for cell in (c.strip() for c in cells) if cell]
    if not cells:
        return "the time column is empty"
    if _most(cells, _NUMBER.fullmatch):
        return _number_plan(cells, unit)
    if _most(cells, _PLAIN_ISO.fullmatch):
        zoned = [bool(found[3]) for found in map(_PLAIN_ISO.fullmatch, cells) if found]
        if all(zoned) or not any(zoned):
            return TimePlan("zoned" if zoned[0] else "local")
        return TimePlan("text", "ymd")
    orders: list[Order] = ["ymd", "dmy", "mdy"]
    fits = {order: sum(_fits(order, cell) for cell in cells) for order in orders}
    best = max(fits.values())
    if 2 * best > len(cells):
        found = [order for order in orders if fits[order] == best]
        if found == ["dmy", "mdy"] and "." not in cells[0].split(" ")[0]:
            return f'day and month cannot be told apart in "{cells[0]}"'
        return TimePlan("text", found[0])
    if _most(cells, _TIME_OF_DAY.fullmatch):
        return f'"{cells[0]}" is a time of day without a date'
    return f'"{cells[0]}" is not a time'


def _most(cells: Sequence[str], test: object) -> bool:
    return callable(test) and 2 * sum(bool(test(cell)) for cell in cells) > len(cells)


def _fits(order: Order, cell: str) -> bool:
    found = re.fullmatch(_DAY[order] + _CLOCK, cell)
    return found is not None and 1 <= int(found["m"]) <= 12 and 1 <= int(found["d"]) <= 31


def _number_plan(cells: Sequence[str], unit: str | None) -> TimePlan:
    numbers = [float(c.replace(",", ".")) for c in cells if _NUMBER.fullmatch(c)]
    size = float(np.median(np.abs(numbers)))
    factor = {"s": 1e6, "ms": 1e3, "us": 1.0, "min": 60e6, "h": 3600e6, "d": 86400e6}
    if unit in factor:
        unit_us = factor[unit]
        return TimePlan("number", unit_us=unit_us, relative=size * unit_us < RELATIVE_BELOW_S * 1e6)
    if size < RELATIVE_BELOW_S:
        return TimePlan("number", relative=True)
    # Unix time: seconds have 9–10 digits in this age, milliseconds 12–13, microseconds 15–16, nanoseconds 18–19.
    for limit, unit_us in ((1e11, 1e6), (1e14, 1e3), (1e17, 1.0)):
        if size < limit:
            return TimePlan("number", unit_us=unit_us)
    return TimePlan("number", unit_us=1e-3)


def number_us(numbers: Floats, how: TimePlan) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """µs of times written as numbers, and which of them are times; shape (n,)."""
    us = np.rint(numbers * how.unit_us)
    low, high = (-RELATIVE_BELOW_S * 1e6, RELATIVE_BELOW_S * 1e6) if how.relative else (0.0, float(LATEST_US))
    with np.errstate(invalid="ignore"):
        good = (us >= low) & (us < high)
    return np.where(good, us, 0.0).astype(np.int64), good


@dataclass(frozen=True, slots=True)
class TextTimes:
    """Times that were written as text: µs as written, whether they carry a zone (then UTC), whether they are times."""

    us: Ints
    zoned: npt.NDArray[np.bool_]
    good: npt.NDArray[np.bool_]


def text_us(cells: object, order: Order) -> TextTimes:
    """Read a pyarrow string array of dates and times; a cell that is no possible time is not good."""
    import pyarrow.compute as pc

    parts = pc.extract_regex(cells, pattern=f"^(?:{_DAY[order]}{_CLOCK})$")
    good = np.asarray(pc.is_valid(parts))

    def field(name: str) -> Ints:
        text = pc.fill_null(pc.struct_field(parts, name), "")
        text = pc.if_else(pc.equal(text, ""), "0", text)
        return np.asarray(pc.cast(text, "int64"))

    def text(name: str) -> object:
        return pc.fill_null(pc.struct_field(parts, name), "")

    year, month, day = field("y"), field("m"), field("d")
    hour, minute, second = field("H"), field("M"), field("S")
    micro = np.asarray(pc.cast(pc.utf8_slice_codeunits(pc.utf8_rpad(text("f"), 9, "0"), 0, 6), "int64"))
    half = np.asarray(pc.ascii_lower(text("p")))
    with_half = half != ""
    good &= ~with_half | ((hour >= 1) & (hour <= 12))
    hour = np.where(with_half, hour % 12 + 12 * (half == "pm"), hour)
    good &= (year >= 1970) & (year < 2200) & (month >= 1) & (month <= 12) & (day >= 1)
    good &= (hour < 24) & (minute < 60) & (second < 60)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0)
    first = months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    after = (months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64)
    good &= day <= after - first
    us = ((((first + day - 1) * 24 + hour) * 60 + minute) * 60 + second) * 1_000_000 + micro
    zones = np.asarray(text("z"), dtype=object)
    offset = np.zeros(len(us), np.int64)
    for name in set(zones.tolist()):
        offset[zones == name] = _offset_us(name)
    return TextTimes(np.where(good, us - offset, 0), zones != "", good)


def one_us(cell: str, order: Order) -> tuple[int, bool] | None:
    """The same of one cell: µs as written, and whether it carries a zone (then UTC); None: no possible time.

    >>> one_us("31.12.2024 11:59:59.5 pm", "dmy"), one_us("2024-02-30", "ymd")
    ((1735689599500000, False), None)
    """
    found = _WHOLE[order].fullmatch(cell)
    if found is None:
        return None
    hour, half, zone = int(found["H"] or 0), (found["p"] or "").lower(), found["z"] or ""
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + 12 * (half == "pm")
    micro = int((found["f"] or "").ljust(6, "0")[:6])
    try:
        time = datetime(
            int(found["y"]), int(found["m"]), int(found["d"]), hour, int(found["M"] or 0), int(found["S"] or 0), micro
        )
    except ValueError:
        return None
    if not 1970 <= time.year < 2200:
        return None
    return (time - _EPOCH) // _MICRO - _offset_us(zone), zone != ""


def _offset_us(zone: str) -> int:
    """How far local times of a zone, as written, are ahead of UTC."""
    if zone in ("", "Z", "z", "UTC"):
        return 0
    digits = zone[1:].replace(":", "").ljust(4, "0")
    size = (int(digits[:2]) * 60 + int(digits[2:])) * 60_000_000
    return -size if zone[0] == "-" else size
