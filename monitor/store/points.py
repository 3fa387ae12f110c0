"""Measurements → lines of line protocol, the form in which a database server takes points.

Every value is a float and keeps that type; what is not known is left out, and a point without a value is none. The
lines of many samples are made column by column (pyarrow); the client (influxdb-client) writes events, and all names.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.base.samples import Bools, Floats, Ints
from monitor.store.lines import Lines

if TYPE_CHECKING:
    import pyarrow as pa

FEW = 500  # our choice: rows; what comes live at 100 Hz. Catching up takes pages of thousands

Tags = Mapping[str, str]
Fields = Mapping[str, float | None]


def point(measurement: str, tags: Tags, fields: Fields, t_us: int) -> str | None:
    """One line; None when no field is known.

    >>> point("keyoff_wake_up", {"vehicle": "van, white"}, {"peak_a": 0.5, "excess_a": None}, 1_000_000)
    'keyoff_wake_up,vehicle=van\\\\,\\\\ white peak_a=0.5 1000000'
    """
    known = {name: float(value) for name, value in fields.items() if value is not None and math.isfinite(value)}
    if not known:
        return None
    made = _client().Point(measurement).time(t_us, "us")
    for name, text in tags.items():
        made.tag(name, text)
    for name, value in known.items():
        made.field(name, value)
    return str(made.to_line_protocol())


def table(measurement: str, tags: Tags, t_us: Ints, fields: Mapping[str, Floats], few: int = FEW) -> Sequence[str]:
    """A line for each row with a known value; `t_us` and all columns have the shape (n,), NaN where not known.

    Up to `few` rows are written one by one, in the same text.

    >>> list(table("m", {"vehicle": "van"}, np.array([5, 6, 7]), {"x": np.array([1.0, np.nan, 3.0])}))
    ['m,vehicle=van x=1 5', 'm,vehicle=van x=3 7']
    """
    if len(t_us) <= few:
        return _few(measurement, tags, t_us, fields)
    import pyarrow as pa
    import pyarrow.compute as pc

    known = {name: np.isfinite(values) for name, values in fields.items()}
    names = [name for name, finite in known.items() if finite.any()]
    if not names:
        return []
    some = np.logical_or.reduce([known[name] for name in names])  # a row without any has no line
    rows = slice(None) if some.all() else np.flatnonzero(some)
    series, times = _series(measurement, tags), pa.array(t_us[rows]).cast(pa.string())
    texts = {name: _text(fields[name][rows], known[name][rows]) for name in names}
    if not any(text.null_count for text in texts.values()):  # nearly always; one pass instead of one a field
        parts: list[Any] = []
        for name, text in texts.items():
            parts += [pa.scalar(f",{name}=" if parts else f"{series} {name}="), text]
        lines = pc.binary_join_element_wise(*parts, pa.scalar(" "), times, pa.scalar("\n"), "")
    else:
        written = [pc.binary_join_element_wise(pa.scalar(f"{name}="), text, "") for name, text in texts.items()]
        joined = pc.binary_join_element_wise(*written, ",", null_handling="skip")
        lines = pc.binary_join_element_wise(pa.scalar(f"{series} "), joined, pa.scalar(" "), times, pa.scalar("\n"), "")
    _, offsets, data = lines.buffers()  # 32-bit offsets and UTF-8, one line after the other: Arrow's layout of strings
    return Lines(memoryview(data), np.frombuffer(offsets, np.int32)[lines.offset :][: len(lines) + 1].astype(np.int64))


def _few(measurement: str, tags: Tags, t_us: Ints, fields: Mapping[str, Floats]) -> list[str]:
    """The same of a few rows, one by one: what comes live, without pyarrow's functions and the memory they take."""
    series = _series(measurement, tags)
    lines: list[str] = []
    for row, at in enumerate(t_us.tolist()):
        values = {name: float(values[row]) + 0.0 for name, values in fields.items()}  # + 0.0: no minus zero
        told = ",".join(f"{name}={_number(v)}" for name, v in values.items() if math.isfinite(v))
        if told:
            lines.append(f"{series} {told} {at}")
    return lines


def _number(value: float) -> str:
    """Shortest exact text of a number, as pyarrow writes it.

    >>> _number(3.0), _number(-0.000012), _number(2.8e-7), _number(1e12)
    ('3', '-0.000012', '2.8e-7', '1e+12')
    """
    size = abs(value)
    if size == 0.0 or 1e-4 <= size < 1e10:
        return repr(value).removesuffix(".0")
    if 1e-6 <= size < 1e-4:
        return np.format_float_positional(value, trim="-")
    return np.format_float_scientific(value, trim="-", exp_digits=1)


def _client() -> Any:
    """The client's module, which is typed in parts only."""
    import influxdb_client  # imported here: it costs 215 ms, and only a forwarder needs it

    return influxdb_client


def _text(values: Floats, finite: Bools) -> pa.Array:
    """Shortest exact text of each number, null where there is none."""
    import pyarrow as pa

    return pa.array(values + 0.0, mask=None if finite.all() else ~finite).cast(pa.string())  # + 0.0: no minus zero


def _series(measurement: str, tags: Tags) -> str:
    """Measurement and tags as they stand before the fields, escaped by the client."""
    line = point(measurement, tags, {"x": 0.0}, 0)
    assert line is not None
    return line.removesuffix(" x=0 0")
