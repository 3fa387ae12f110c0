"""A line as it came from a live logger, and what is told of lines that are refused before anybody parses them."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from monitor.base.ledger import FIRST_SHOWN, RefusedLine
from monitor.sources.lines import CUT_OFF, TOO_LONG
from monitor.sources.rows import Fault, Rows, readable

BEGINNING_MISSING = "first line after opening: its beginning may be missing"
CAME_BEFORE = "no time of its own, and there before this start"
NO_COLUMNS = "no header or setting says what the columns are"


class Line(NamedTuple):
    """One line.

    data   with its end
    at_us  when it came, µs UTC, strictly increasing from line to line
    kind   "first": the first since the port was opened, which may have been in the middle of a line;
           "old": it was there before this start, so nobody knows when it came;
           "cut": no whole line, nothing ended it; "long": the beginning of a line that was given up
    """

    data: bytes
    at_us: int
    kind: Literal["plain", "first", "old", "cut", "long"] = "plain"

    @property
    def flaw(self) -> str | None:
        """Why nobody may parse it; None: somebody may."""
        return {"cut": CUT_OFF, "long": TOO_LONG}.get(self.kind)


def refused(file: str, reason: str, lines: list[Line], first: int) -> Rows:
    """No rows, but the fault of these lines, the first of which is line `first`; blank lines are none."""
    shown = [RefusedLine(file, first + i, readable(line.data.rstrip(b"\n"))) for i, line in enumerate(lines)]
    shown = [place for place, line in zip(shown, lines, strict=True) if line.data.strip()]
    faults = (Fault(reason, len(shown), tuple(shown[:FIRST_SHOWN])),) if shown else ()
    return Rows(np.empty(0, np.int64), {}, lambda row: shown[row], faults, len(lines))


def remark(line: Line) -> bytes:
    """A refused line as a recording keeps it: to be seen, and not to be read as a row.

    >>> remark(Line(b"2.61,-0.02\\r\\n", 0)), remark(Line(b"12.6\\x00", 0))
    (b'# 2.61,-0.02\\n', b'# 12.6\\\\x00\\n')
    """
    text = line.data.decode("utf-8", errors="backslashreplace").rstrip("\r\n")
    return b"# " + "".join(c if c.isprintable() or c == "\t" else repr(c)[1:-1] for c in text).encode() + b"\n"
