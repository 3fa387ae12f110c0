"""Lines of a live logger → rows: the dialects of the recorded logs, found out from the first lines.

Lines are held until their plan is known: for LINES of them, or for PATIENCE_S. None of them vanishes: lines that never
become clear are refused, and counted. A header that comes again is passed over; another header makes another plan.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from monitor.base.errors import InputError
from monitor.base.vehicle import LogSettings
from monitor.sources.layout import named_columns
from monitor.sources.live.delimited import DelimitedLines
from monitor.sources.live.lines import NO_COLUMNS, Line, refused, remark
from monitor.sources.live.plan import make_plan
from monitor.sources.live.senml import SenmlLines, is_senml
from monitor.sources.rows import Rows, together

LINES = 20  # our choice: a header and enough rows to see how times and decimals are written
PATIENCE_S = 2.0  # our choice: then fewer must do, so that a slow logger is understood from its first row on
MOST_LINES = 400  # our choice, as many as of a recorded log
MOST_BYTES = 256 * 1024  # our choice: bounded, whatever comes
_DATA = re.compile(rb"(?:^|[,;\t|])\s*[+-]?\.?\d")  # a cell that begins as a number does


class Reader(Protocol):
    """Lines of one dialect."""

    @property
    def head(self) -> bytes:
        """What names the columns, for the top of a recording."""

    @property
    def stamped(self) -> bool:
        """Whether the times are those of arrival."""

    @property
    def assumption(self) -> str:
        """What is assumed of the log, for a person to know; "": nothing."""

    def read(self, lines: list[Line], first: int) -> tuple[list[Rows], bytes]:
        """Rows of these lines, the first of which is line `first`, and the lines as a recording keeps them."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What came of the lines since the last look: rows (None: none), and the lines as a recording keeps them."""

    rows: Rows | None
    raw: bytes


class Dialect:
    """Takes lines, gives rows.

    problem   why lines are held and not understood, in the words of the recorded logs; None: nothing is held so long
    """

    def __init__(self, name: str, settings: LogSettings, nominal_v: float) -> None:
        self.problem: InputError | None = None
        self._name = name
        self._settings = settings
        self._nominal_v = nominal_v
        self._reader: Reader | None = None
        self._planning = True
        self._doubted = False  # the plan of before is not given up, but another is looked for
        self._number = 0  # lines so far that are no longer held
        self._held: list[Line] = []
        self._held_bytes = 0
        self._try_at = LINES
        self._patience_s = PATIENCE_S
        self._held_since: float | None = None
        self._parts: list[Rows] = []
        self._raw: list[bytes] = []

    @property
    def holding(self) -> int:
        """Lines that are held."""
        return len(self._held)

    @property
    def head(self) -> bytes:
        """What names the columns, for the top of a recording."""
        return b"" if self._reader is None else self._reader.head

    @property
    def stamped(self) -> bool:
        """Whether the times of the rows are those of arrival."""
        return self._reader is not None and self._reader.stamped

    @property
    def assumption(self) -> str:
        """What is assumed of the log, for a person to know; "": nothing."""
        return "" if self._reader is None else self._reader.assumption

    def push(self, lines: Sequence[Line]) -> None:
        """Take further lines."""
        if lines and not self._number and not self._held and lines[0].data.startswith(b"\xef\xbb\xbf"):
            lines = [lines[0]._replace(data=lines[0].data[3:]), *lines[1:]]  # a byte order mark
        rest = list(lines)
        while rest:
            rest = self._hold(rest) if self._planning or self._reader is None else self._read(self._reader, rest)

    def look(self, now_s: float) -> None:
        """Time goes on: lines held long enough must do."""
        if not self._held:
            self._held_since, self._patience_s = None, PATIENCE_S
        elif self._held_since is None:
            self._held_since = now_s
        elif now_s - self._held_since >= self._patience_s:
            self._patience_s *= 2
            self._try()

    def forget(self) -> None:
        """Lines come and no rows: another plan is looked for, until one line is a row by the plan of before."""
        self._planning = self._doubted = True

    def heard(self) -> Heard:
        """What came of the lines since the last call."""
        parts = [part for part in self._parts if len(part.t_us) or part.faults]
        heard = Heard(together(parts), b"".join(self._raw))
        self._parts, self._raw = [], []
        return heard

    def _hold(self, lines: list[Line]) -> list[Line]:
        """Hold lines up to the next attempt; the others are given back."""
        for index, line in enumerate(lines):
            if self._doubted and self._reader is not None:
                if self._is_another_header(self._reader, line):
                    self._give_up()
                    self._planning = True
                elif self._is_row(self._reader, line):
                    self._give_up()
                    return lines[index:]
            self._held.append(line)
            self._held_bytes += len(line.data)
            full = len(self._held) >= MOST_LINES or self._held_bytes > MOST_BYTES
            if len(self._held) < self._try_at and not full:
                continue
            self._try_at = min(2 * self._try_at, MOST_LINES)
            if self._try():
                return lines[index + 1 :]
            if full:
                self._give_up()
                return lines[index + 1 :]
        return []

    def _try(self) -> bool:
        """Whether what is held is understood; it is read then."""
        held = self._held
        try:
            if is_senml(held):
                self._begin(SenmlLines(self._name, self._settings, held), held)
                return True
            texts = _texts(held)
            plan = make_plan(self._name, texts, self._settings, self._nominal_v)
        except InputError as error:
            self.problem = error
            return False
        reader = DelimitedLines(self._name, plan, self._settings)
        self._take(*reader.titles(held[: plan.titles], self._number + 1), plan.above)
        self._begin(reader, held[plan.above :])
        return True

    def _begin(self, reader: Reader, lines: list[Line]) -> None:
        self._reader, self._planning, self._doubted, self.problem = reader, False, False, None
        self._release()
        self.push(lines)

    def _is_row(self, reader: Reader, line: Line) -> bool:
        return any(len(part.t_us) for part in reader.read([line], 0)[0])

    def _give_up(self) -> None:
        """What is held is read by the plan of before, if there is one, or refused."""
        held = self._held
        self._release()
        self._doubted = False
        self._planning = self._reader is None
        if self._reader is not None:
            self.problem = None
            self._take(*self._reader.read(held, self._number + 1), len(held))
        else:
            parts = [refused(self._name, NO_COLUMNS, held, self._number + 1)]
            self._take(parts, b"".join(map(remark, held)), len(held))

    def _release(self) -> None:
        self._held, self._held_bytes, self._held_since = [], 0, None
        self._try_at, self._patience_s = LINES, PATIENCE_S

    def _read(self, reader: Reader, lines: list[Line]) -> list[Line]:
        """Read lines up to another header; that one and those below it are given back, to be held."""
        stop = next((i for i, line in enumerate(lines) if self._is_another_header(reader, line)), len(lines))
        if stop:
            self._take(*reader.read(lines[:stop], self._number + 1), stop)
        self._planning = stop < len(lines)
        return lines[stop:]

    def _is_another_header(self, reader: Reader, line: Line) -> bool:
        if _DATA.search(line.data) or not isinstance(reader, DelimitedLines):
            return False
        text = _texts([line])[0]
        if not text or text == reader.plan.own:
            return False
        found = named_columns(text, self._settings)
        return found is not None and (bool(found[1].time) or reader.stamped)

    def _take(self, parts: list[Rows], raw: bytes, count: int) -> None:
        self._parts.extend(parts)
        self._raw.append(raw)
        self._number += count


def _texts(lines: Sequence[Line]) -> list[str]:
    """The lines as text, decoded together; blank where a line is no whole one."""
    data = b"".join(b"\n" if line.flaw else line.data for line in lines)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    return [line.removesuffix("\r") for line in text.split("\n")[:-1]]
