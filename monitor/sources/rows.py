"""Rows as a reader hands them on: times, cells per channel with their flaws, and where each row stands in its file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.base.ledger import FIRST_SHOWN, RefusedLine
from monitor.base.samples import Floats, Ints

Codes = npt.NDArray[np.uint8]
Where = Callable[[int], RefusedLine]

CHANNELS = ("volts", "amps", "celsius")

GOOD, ABSENT, OVERLOAD, NOT_A_NUMBER, OUT_OF_RANGE = range(5)

OVERLOAD_FIGURE = 9.9e37  # SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5: ±9.9E37 stands for infinity, 9.91E37 for not a number


@dataclass(frozen=True, slots=True)
class Cells:
    """One channel of a stretch of rows.

    values   float64 V, A (+ into the battery) or °C, shape (n,); anything where the cell is flawed
    flaws    uint8, one of GOOD … OUT_OF_RANGE per row; None: every cell holds a number
    """

    values: Floats
    flaws: Codes | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """Lines refused for one reason: how many, and the first of them."""

    reason: str
    count: int
    first: tuple[RefusedLine, ...]


def fault(reason: str, rows: Sequence[int], where: Where) -> Fault:
    """The fault that the given rows share."""
    return Fault(reason, len(rows), tuple(where(int(row)) for row in rows[:FIRST_SHOWN]))


@dataclass(frozen=True, slots=True)
class Rows:
    """A stretch of rows in the order of the file.

    t_us      int64 µs UTC, shape (n,), in any order; rows without a usable time are among the faults instead
    channels  cells of each channel this file has
    where     file, line and text of row i, asked only for rows that are refused
    faults    lines that are no rows at all
    lines     lines of text read for them, where it was text
    """

    t_us: Ints
    channels: dict[str, Cells]
    where: Where
    faults: tuple[Fault, ...] = ()
    lines: int = 0


def together(parts: Sequence[Rows]) -> Rows | None:
    """Stretches one after the other as one; a channel that one of them lacks is absent there. None: there are none."""
    if len(parts) < 2:
        return parts[0] if parts else None
    starts = np.cumsum([0, *(len(part.t_us) for part in parts)])
    names = [c for c in CHANNELS if any(c in part.channels for part in parts)]

    def where(row: int) -> RefusedLine:
        index = int(np.searchsorted(starts, row, side="right")) - 1
        return parts[index].where(row - int(starts[index]))

    return Rows(
        np.concatenate([part.t_us for part in parts]),
        {name: _joined([(part.channels.get(name), len(part.t_us)) for part in parts]) for name in names},
        where,
        tuple(fault for part in parts for fault in part.faults),
        sum(part.lines for part in parts),
    )


def _joined(parts: Sequence[tuple[Cells | None, int]]) -> Cells:
    values = np.concatenate([np.zeros(size) if cells is None else cells.values for cells, size in parts])
    if all(cells is not None and cells.flaws is None for cells, _ in parts):
        return Cells(values)
    return Cells(values, np.concatenate([_flaws(cells, size) for cells, size in parts]))


def _flaws(cells: Cells | None, size: int) -> Codes:
    if cells is None:
        return np.full(size, ABSENT, np.uint8)
    return np.full(size, GOOD, np.uint8) if cells.flaws is None else cells.flaws


def line_of(file: str, first: int, data: bytes | memoryview) -> Where:
    """Where row i stands when row i is line `first + i` and the lines are those of `data`.

    >>> line_of("a.csv", 2, b"1,2\\n3,4\\n")(1)
    RefusedLine(file='a.csv', line=3, text='3,4')
    """
    lines: list[bytes] = []

    def where(row: int) -> RefusedLine:
        if not lines:
            lines.extend(bytes(data).split(b"\n"))
        return RefusedLine(file, first + row, readable(lines[row]))

    return where


def readable(line: bytes) -> str:
    """A line as text that can be shown: undecodable and control characters replaced.

    >>> readable(b"12.5\\x00\\xff\\r")
    '12.5��'
    """
    text = line.decode("utf-8", errors="replace").rstrip("\r")
    return "".join(c if c.isprintable() or c == "\t" else "\ufffd" for c in text)
