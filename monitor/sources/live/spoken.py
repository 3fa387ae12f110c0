"""Lines as they come, few at a time → rows: in plain Python, the same rows as by the careful way of a recorded log.

A parser of whole columns takes longer to begin than a second's lines take here, and 40 MiB as long as the service runs.
Quoted cells are left to it all the same.
"""

from __future__ import annotations

import numpy as np

from monitor.sources import times
from monitor.sources.careful import careful_rows, lines_of, sort_out
from monitor.sources.cells import numbers_in
from monitor.sources.layout import Layout
from monitor.sources.parser import BAD_TIME, NO_TIME, SKIPPED, WRONG_WIDTH, blame
from monitor.sources.rows import GOOD, Cells, Rows, line_of
from monitor.sources.zones import LocalClock


def spoken_rows(file: str, layout: Layout, clock: LocalClock | None, data: bytes, first: int) -> Rows:
    """Rows of the lines in `data`, the first of which is line `first`, and the faults of those that are none."""
    if b'"' in data:
        return careful_rows(file, layout, clock, data, first)
    where = line_of(file, first, data)
    lines = lines_of(data)
    kept, faults = sort_out(lines, layout, where)
    split = {i: lines[i].decode().split(layout.separator) for i in kept}
    blame(faults, WRONG_WIDTH, [i for i, row in split.items() if len(row) != layout.columns], layout, where)
    reasons: dict[str, list[int]] = {NO_TIME: [], BAD_TIME: [], SKIPPED: []}
    read: dict[int, tuple[int, bool]] = {}
    for i, row in split.items():
        if len(row) != layout.columns:
            continue
        text = " ".join(row[place].strip() for place in layout.time).strip()
        time = _time(text, layout)
        if time is None:
            reasons[BAD_TIME if text else NO_TIME].append(i)
        else:
            read[i] = time
    t_us = np.array([us for us, _ in read.values()], np.int64)
    exists = np.ones(len(t_us), np.bool_)
    local = np.array([not zoned for _, zoned in read.values()], np.bool_)
    if clock is not None and local.any():
        t_us[local], exists[local] = clock.to_utc(t_us[local])
    index = np.array(list(read), np.int64)
    reasons[SKIPPED] = index[~exists].tolist()
    for reason, bad in reasons.items():
        blame(faults, reason, bad, layout, where)
    index = index[exists]
    channels = {}
    for name, source in layout.channels.items():
        cells = [split[i][source.column].strip() for i in index.tolist()]
        values, flaws = numbers_in(cells, layout.decimal)
        channels[name] = source.scaled(Cells(values, flaws if flaws.any() else None))
    return Rows(t_us[exists], channels, lambda row: where(int(index[row])), tuple(faults), len(lines))


def _time(text: str, layout: Layout) -> tuple[int, bool] | None:
    """µs as written and whether that is UTC; None: no time."""
    plan = layout.time_plan
    if plan.kind != "number":
        return times.one_us(text, plan.order)
    values, flaws = numbers_in([text], layout.decimal)
    t_us, good = times.number_us(values, plan)
    return (int(t_us[0]), True) if good[0] and flaws[0] == GOOD else None
