"""Lines of a delimited log, once the plan is known → rows."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from monitor.base.vehicle import LogSettings
from monitor.sources.live.clock import CountingClock
from monitor.sources.live.lines import BEGINNING_MISSING, CAME_BEFORE, Line, refused, remark
from monitor.sources.live.plan import Plan
from monitor.sources.live.spoken import spoken_rows
from monitor.sources.rows import Rows
from monitor.sources.zones import LocalClock


class DelimitedLines:
    """Parses lines after one plan."""

    def __init__(self, name: str, plan: Plan, settings: LogSettings) -> None:
        self.plan = plan
        self._name = name
        self._clock = None if settings.time.zone is None else LocalClock(ZoneInfo(settings.time.zone))
        self._counting = CountingClock()

    @property
    def head(self) -> bytes:
        """What names the columns, for the top of a recording."""
        return "".join(f"{line}\n" for line in self.plan.head).encode()

    @property
    def stamped(self) -> bool:
        """Whether the times are those of arrival."""
        return self.plan.times != "own"

    @property
    def assumption(self) -> str:
        """What is assumed of the times, with the setting that says better; "": nothing."""
        if self._clock is None and self.plan.layout.time_plan.kind in ("local", "text"):
            zone = 'set [log] time = { zone = "Europe/Oslo" } to your own zone'
            return f"times carry no zone, taken as UTC: {zone}"
        return ""

    def read(self, lines: list[Line], first: int) -> tuple[list[Rows], bytes]:
        """Rows of these lines, the first of which is line `first`, and the lines as a recording keeps them."""
        parts: list[Rows] = []
        raw: list[bytes] = []
        for reason, group in groupby(lines, self._flaw):
            some = list(group)
            if reason is None:
                data = self._data(some)
                parts.append(spoken_rows(self._name, self.plan.layout, self._clock, data, first))
                raw.append(data)
            else:
                parts.append(refused(self._name, reason, some, first))
                raw.extend(map(remark, some))
            first += len(some)
        return parts, b"".join(raw)

    def titles(self, lines: list[Line], first: int) -> tuple[list[Rows], bytes]:
        """The same of lines above a header: what is a row is one, as when the header comes now and then; the others
        are titles, and none is refused for being no row."""
        parts: list[Rows] = []
        raw: list[bytes] = []
        for number, line in enumerate(lines, first):
            found, data = self.read([line], number)
            title = self._flaw(line) is None and not len(found[0].t_us)
            raw.append(remark(line) if title else data)
            parts.extend([] if title else found)
        return parts, b"".join(raw)

    def _flaw(self, line: Line) -> str | None:
        if line.kind == "first" and not self.plan.shows_damage and line.data.rstrip() != (self.plan.own or "").encode():
            return BEGINNING_MISSING
        return CAME_BEFORE if line.kind == "old" and self.stamped else line.flaw

    def _data(self, lines: list[Line]) -> bytes:
        if not self.stamped:
            return b"".join([line.data for line in lines])
        return "".join([self._stamped(line) for line in lines]).encode()

    def _stamped(self, line: Line) -> str:
        text = line.data.decode("utf-8", errors="replace").rstrip("\r\n")
        at_us = line.at_us
        if self.plan.times == "counted":
            count = self.plan.count_us(text)
            if count is None:
                return text + "\n"  # to be refused for its time
            at_us = self._counting.at(count, at_us)
        return self.plan.stamped(text, iso(at_us)) + "\n"


def iso(at_us: int) -> str:
    """A time as lines carry it.

    >>> iso(1_700_000_000_000_001)
    '2023-11-14T22:13:20.000001Z'
    """
    seconds, micros = divmod(at_us, 1_000_000)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{micros:06d}Z"
