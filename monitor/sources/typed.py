"""The fast way through a chunk of a delimited log: lines are rows of numbers or blanks, parsed as such at once.

Lines with another number of cells are passed over and told; anything else leaves the chunk to the careful way.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from monitor.base.samples import Ints
from monitor.sources import times
from monitor.sources.arrays import floats_of, ints_of, present
from monitor.sources.cells import mark_figures
from monitor.sources.layout import Layout
from monitor.sources.lines import is_plain
from monitor.sources.parser import WRONG_WIDTH, blame, column, parse, text_times
from monitor.sources.rows import ABSENT, GOOD, Cells, Fault, Rows, line_of
from monitor.sources.zones import LocalClock


def typed_rows(file: str, layout: Layout, clock: LocalClock | None, data: bytes, first: int) -> Rows | None:
    """Rows of the lines in `data`, the first of which is line `first`; None when not every line of its width is such.

    The clock is left as it was when None is returned.
    """
    import pyarrow as pa

    kind = layout.time_plan.kind if len(layout.time) == 1 else "text"
    time_type = {
        "zoned": pa.timestamp("us", "UTC"),
        "local": pa.timestamp("us"),
        "number": pa.float64(),
        "text": pa.string(),
    }[kind]
    types = {source.column: pa.float64() for source in layout.channels.values()}
    types.update(dict.fromkeys(layout.time, time_type))
    misfits: list[int] = []

    def misfit(row: Any) -> str:
        misfits.append(row.number - 1)
        return "skip"

    try:
        # pyarrow shows such a line as UTF-8 only, so one in another encoding is left to the careful way
        table = parse(layout, data, types, misfit if data.isascii() else None)
    except pa.ArrowInvalid:
        return None
    if not is_plain(data, table.num_rows + len(misfits)) or (misfits and b'"' in data):
        return None
    before = clock.state() if clock is not None else None
    t_us = _text(layout, table, clock) if kind == "text" else _typed(layout, column(table, layout.time[0]), clock)
    if t_us is None:
        if clock is not None and before is not None:
            clock.rewind(before)
        return None
    channels = {name: source.scaled(_cells(column(table, source.column))) for name, source in layout.channels.items()}
    where = line_of(file, first, data)
    if not misfits:
        return Rows(t_us, channels, where, lines=len(t_us))
    faults: list[Fault] = []
    lines = data.split(b"\n")
    blame(faults, WRONG_WIDTH, [row for row in misfits if lines[row].strip()], layout, where)
    index = np.delete(np.arange(len(t_us) + len(misfits)), misfits)
    return Rows(t_us, channels, lambda row: where(int(index[row])), tuple(faults), len(lines) - 1)


def _typed(layout: Layout, time: Any, clock: LocalClock | None) -> Ints | None:
    if time.null_count:
        return None
    t_us: Ints
    if layout.time_plan.kind == "number":
        t_us, good = times.number_us(floats_of(time), layout.time_plan)
        return t_us if good.all() else None
    t_us = ints_of(time)
    if len(t_us) and not (t_us.min() >= 0 and t_us.max() < times.LATEST_US):
        return None
    if layout.time_plan.kind == "local" and clock is not None:
        t_us, exists = clock.to_utc(t_us)
        return t_us if exists.all() else None
    return t_us


def _text(layout: Layout, table: Any, clock: LocalClock | None) -> Ints | None:
    import pyarrow as pa
    import pyarrow.compute as pc

    try:
        text = {i: pc.utf8_trim_whitespace(column(table, i)) for i in layout.time}
        t_us, reasons = text_times(layout, text, clock)
    except pa.ArrowInvalid:  # no UTF-8
        return None
    return None if any(bad.any() for bad in reasons.values()) else t_us


def _cells(numbers: Any) -> Cells:
    values = floats_of(numbers)
    if not numbers.null_count:
        return Cells(values)
    flaws = np.where(present(numbers), np.uint8(GOOD), np.uint8(ABSENT))
    mark_figures(values, flaws)
    return Cells(values, flaws)
