"""The careful way through a chunk of a delimited log: as text, column by column, telling of each line what it is."""

from __future__ import annotations

from typing import Any

import numpy as np

from monitor.sources.cells import numbers_of
from monitor.sources.layout import Layout
from monitor.sources.parser import WRONG_WIDTH, blame, column, parse, text_times
from monitor.sources.rows import Cells, Fault, Rows, Where, line_of
from monitor.sources.zones import LocalClock


def careful_rows(file: str, layout: Layout, clock: LocalClock | None, data: bytes, first: int) -> Rows:
    """Rows of the lines in `data`, the first of which is line `first`, and the faults of those that are none."""
    import pyarrow as pa
    import pyarrow.compute as pc

    where = line_of(file, first, data)
    lines = lines_of(data)
    kept, faults = sort_out(lines, layout, where)
    misfits: set[int] = set()

    def misfit(row: Any) -> str:
        misfits.add(row.number - 1)
        return "skip"

    wanted = [*layout.time, *(source.column for source in layout.channels.values())]
    text: dict[int, Any] = {i: pa.array([], pa.string()) for i in wanted}
    if kept:
        whole = b"".join(lines[i] + b"\n" for i in kept)
        table = parse(layout, whole, dict.fromkeys(wanted, pa.string()), misfit)
        text = {i: pc.utf8_trim_whitespace(column(table, i)) for i in wanted}
    blame(faults, WRONG_WIDTH, [kept[i] for i in sorted(misfits)], layout, where)
    index = np.array([line for i, line in enumerate(kept) if i not in misfits], np.int64)
    t_us, reasons = text_times(layout, text, clock)
    good = np.ones(len(index), np.bool_)
    for reason, bad in reasons.items():
        blame(faults, reason, index[bad].tolist(), layout, where)
        good &= ~bad
    channels = {}
    for name, source in layout.channels.items():
        values, flaws = numbers_of(text[source.column], layout.decimal)
        channels[name] = source.scaled(Cells(values[good], flaws[good]))
    index = index[good]
    return Rows(t_us[good], channels, lambda row: where(int(index[row])), tuple(faults), len(lines))


def lines_of(data: bytes) -> list[bytes]:
    """Lines without their ends, in UTF-8 throughout."""
    lines = [line.removesuffix(b"\r").replace(b"\r", b" ") for line in data.split(b"\n")[:-1]]
    return [line.decode("utf-8", errors="replace").encode() for line in lines]


def sort_out(lines: list[bytes], layout: Layout, where: Where) -> tuple[list[int], list[Fault]]:
    """Lines that may be rows, and the faults of the others; blank lines are neither."""
    kept: list[int] = []
    again: list[int] = []
    quotes: list[int] = []
    header = layout.header.encode()
    for index, line in enumerate(lines):
        if not line.strip():
            continue
        if header and line == header:
            again.append(index)
        elif line.count(b'"') % 2:
            quotes.append(index)  # the parser would take the lines below into the cell
        else:
            kept.append(index)
    faults: list[Fault] = []
    blame(faults, "header repeated", again, layout, where)
    blame(faults, "quote not closed", quotes, layout, where)
    return kept, faults
