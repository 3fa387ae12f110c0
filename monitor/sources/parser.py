"""pyarrow's delimited-text parser on one chunk of whole lines, and columns of text as times."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from monitor.base.samples import Ints
from monitor.sources import times
from monitor.sources.cells import numbers_of
from monitor.sources.layout import Layout, is_comment
from monitor.sources.rows import GOOD, Fault, Where, fault
from monitor.sources.zones import LocalClock

NO_TIME = "no time"
BAD_TIME = "time not understood"
WRONG_WIDTH = "wrong number of fields"
SKIPPED = "local time that the clock change skips"


def parse(layout: Layout, data: bytes, types: dict[int, Any], misfit: Callable[[Any], str] | None = None) -> Any:
    """A pyarrow table of the columns in `types`, named by their place; a blank line is a row of blanks.

    `misfit` is asked what to do with a row of another number of cells. Raises ArrowInvalid.
    """
    import pyarrow as pa
    from pyarrow import csv

    return csv.read_csv(
        pa.BufferReader(data),
        # No threads of pyarrow's: they may hold a buffer of ours until after the interpreter's end, and abort it
        # (known bug, apache/arrow 36389); the threads here are joined.
        read_options=csv.ReadOptions(
            column_names=[str(i) for i in range(layout.columns)], block_size=max(len(data), 1), use_threads=False
        ),
        parse_options=csv.ParseOptions(
            delimiter=layout.separator, ignore_empty_lines=False, invalid_row_handler=misfit
        ),
        convert_options=csv.ConvertOptions(
            column_types={str(i): kind for i, kind in types.items()},
            include_columns=[str(i) for i in types],
            null_values=[""],
            strings_can_be_null=False,
            check_utf8=False,
            decimal_point=layout.decimal,
        ),
    )


def column(table: Any, place: int) -> Any:
    """A column as one array."""
    found = table.column(str(place))
    return found.chunk(0) if found.num_chunks == 1 else found.combine_chunks()


def text_times(
    layout: Layout, text: dict[int, Any], clock: LocalClock | None
) -> tuple[Ints, dict[str, npt.NDArray[np.bool_]]]:
    """µs UTC of times held as text without surrounding blanks, and per reason the rows that have no usable time."""
    import pyarrow.compute as pc

    plan = layout.time_plan
    cells = text[layout.time[0]]
    if len(layout.time) == 2:
        cells = pc.utf8_trim_whitespace(pc.binary_join_element_wise(cells, text[layout.time[1]], " "))
    missing = np.asarray(pc.equal(cells, ""))
    skipped = np.zeros(len(missing), np.bool_)
    if plan.kind == "number":
        values, flaws = numbers_of(cells, layout.decimal)
        t_us, good = times.number_us(values, plan)
        good &= flaws == GOOD
    else:
        read = times.text_us(cells, plan.order)
        t_us, good = read.us.copy(), read.good
        local = np.flatnonzero(good & ~read.zoned)
        if clock is not None and len(local):
            t_us[local], exists = clock.to_utc(t_us[local])
            skipped[local[~exists]] = True
    return t_us, {NO_TIME: missing, BAD_TIME: ~good & ~missing, SKIPPED: skipped}


def blame(faults: list[Fault], reason: str, rows: list[int], layout: Layout, where: Where) -> None:
    """Add the fault of these rows; a remark of the logger is none."""
    rows = [row for row in rows if not is_comment(where(row).text, layout.separator)]
    if rows:
        faults.append(fault(reason, rows, where))
