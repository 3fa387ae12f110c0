"""Cells as text → numbers and their flaws, a column at a time; the careful way, for stretches with bad rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from monitor.base.samples import Floats
from monitor.sources.rows import ABSENT, GOOD, NOT_A_NUMBER, OVERLOAD, OVERLOAD_FIGURE, Codes

_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
# How meters write a reading beyond their range; common practice.
_OVERLOAD = r"^[+-]?(o\.?l\.?|\.ol|ovld|ovl|ofl|over|overload|overflow|overrange|inf|infinity)$"
_IS_NUMBER = re.compile(_NUMBER, re.ASCII).fullmatch
_IS_OVERLOAD = re.compile(_OVERLOAD, re.ASCII | re.IGNORECASE).fullmatch


def numbers_of(text: Any, decimal: str = ".") -> tuple[Floats, Codes]:
    """Numbers (0 where flawed) and flaws, each of shape (n,), of a pyarrow string array without surrounding blanks.

    >>> import pyarrow as pa
    >>> values, flaws = numbers_of(pa.array(["12.5", "", "OL", "nan", "x"]))
    >>> values.tolist(), flaws.tolist()
    ([12.5, 0.0, 0.0, 0.0, 0.0], [0, 1, 2, 3, 3])
    """
    import pyarrow.compute as pc

    if decimal == ",":
        text = pc.replace_substring(text, ",", ".")
    good = pc.match_substring_regex(text, _NUMBER)
    figures = pc.if_else(good, text, "0")
    try:
        values = np.array(pc.cast(figures, "float64"))
    except ValueError:  # a figure too large for a float64, such as 1e999; Python reads it as infinite
        values = np.array([float(figure) for figure in figures.to_pylist()])
    flaws = np.where(np.asarray(good), np.uint8(GOOD), np.uint8(NOT_A_NUMBER))
    flaws[np.asarray(pc.match_substring_regex(text, _OVERLOAD, ignore_case=True))] = OVERLOAD
    flaws[np.asarray(pc.equal(text, ""))] = ABSENT
    mark_figures(values, flaws)
    return values, flaws


def numbers_in(cells: Sequence[str], decimal: str = ".") -> tuple[Floats, Codes]:
    """The same of a few cells, without pyarrow.

    >>> values, flaws = numbers_in(["12,5", "", "O.L.", "nan", "9.91e37"], ",")
    >>> values.tolist(), flaws.tolist()
    ([12.5, 0.0, 0.0, 0.0, 9.91e+37], [0, 1, 2, 3, 3])
    """
    if decimal == ",":
        cells = [cell.replace(",", ".") for cell in cells]
    good = [_IS_NUMBER(cell) is not None for cell in cells]
    values = np.array([float(cell) if fine else 0.0 for cell, fine in zip(cells, good, strict=True)], np.float64)
    flaws = np.array([GOOD if fine else _flaw(cell) for cell, fine in zip(cells, good, strict=True)], np.uint8)
    mark_figures(values, flaws)
    return values, flaws


def _flaw(cell: str) -> int:
    """Of a cell that is no number."""
    if not cell:
        return ABSENT
    return OVERLOAD if _IS_OVERLOAD(cell) else NOT_A_NUMBER


def mark_figures(values: Floats, flaws: Codes) -> None:
    """Mark, in place, figures that stand for an overload or for not a number."""
    with np.errstate(invalid="ignore"):
        good = flaws == GOOD
        size = np.abs(values)
        flaws[good & np.isnan(values)] = NOT_A_NUMBER
        flaws[good & (size >= OVERLOAD_FIGURE)] = OVERLOAD
        # 9.91E37 is SCPI's not a number; the bounds allow for figures rounded to three places
        flaws[good & (size > 9.905e37) & (size < 9.915e37)] = NOT_A_NUMBER
