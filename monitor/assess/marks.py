"""Marks: moments a person names (a fuse pulled, a repair, a bench test), and what changed at each of them.

The level before is that of the half hour before the mark, the level after that of the last half hour of the hour after
it, both up to the neighbouring marks and only while the vehicle stands. Their change is the Hodges-Lehmann shift of
one-minute means with its 95 % interval: a wake-up in a few of the minutes does not move it. A wake-up group has ended
when at its earlier rate at least three wake-ups were due since and none came (e⁻³ = 5 %, the rule of three).
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from difflib import get_close_matches
from typing import Annotated, Any

import numpy as np
from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from monitor.assess.statistics import shift
from monitor.base.errors import InputError, SettingError
from monitor.base.results import Effect, Mark, Result, WakeUpGroup
from monitor.base.samples import Block
from monitor.base.tables.strict import Name, Strict
from monitor.base.window import parse_moment

KINDS = ("fuse out", "fuse in", "repair", "battery replaced", "bench test", "note")
COLUMNS = ("at", "kind", "text")
MOST_MARKS = 500  # our choice: what is watched stays small

MINUTE_US = 60_000_000
BEFORE_MIN, AFTER_MIN, LEVEL_MIN = 30, 60, 30
SLACK_MIN = 1  # our choice: a person's watch is as good as that
LEAST_MIN = 5  # our choice: minutes on each side below which no level is told
LEAST_A = 0.002  # our choice: below it a level drifts with the temperature
WAKE_MIN = 30  # opening and closing a circuit wakes modules for up to so long: common practice
DUE = 3.0  # wake-ups due and not seen


def _kind(value: Any) -> Any:
    text = " ".join(value.lower().replace("-", " ").replace("_", " ").split()) if isinstance(value, str) else value
    if text not in KINDS:
        raise PydanticCustomError("kind", f"expected one of {', '.join(KINDS)}", {"known": list(KINDS)})
    return text


def _time(value: Any) -> Any:
    if not isinstance(value, str | datetime | date) or value == "":
        raise PydanticCustomError("time", 'expected an ISO 8601 time, as "2025-04-11T12:13"')
    return value if isinstance(value, str) else value.isoformat()


class MarkEntry(Strict):
    """A mark as its file has it; `at` is ISO 8601 text."""

    at: Annotated[str, BeforeValidator(_time)]
    kind: Annotated[str, BeforeValidator(_kind)] = "note"
    text: Name | None = None


class MarksFile(Strict):
    """The TOML file of marks: a table [[marks]] for each."""

    marks: Annotated[list[MarkEntry], Field(min_length=1, max_length=MOST_MARKS)]


def marks_of(entries: Iterable[MarkEntry], zone: tzinfo, name: str) -> list[Mark]:
    """Marks in time order; times without a zone are read in `zone`. Raises SettingError naming the file."""
    found = [
        Mark(at=parse_moment(entry.at, zone, f"{name}, at"), kind=entry.kind, text=entry.text or entry.kind)
        for entry in entries
    ]
    return sorted(found, key=lambda mark: mark.at)


def read_marks_csv(text: str, name: str, zone: tzinfo) -> list[Mark]:
    """Marks of a CSV file with the columns at, kind, text; raises InputError naming file and line.

    >>> from datetime import UTC
    >>> read_marks_csv("at,kind,text\\n1970-01-01T00:01Z,fuse out,F23\\n", "marks.csv", UTC)[0].at
    60000000
    """
    lines = ["" if line.lstrip().startswith("#") else line for line in text.removeprefix("\ufeff").splitlines()]
    rows = csv.DictReader(lines, strict=True, skipinitialspace=True)
    if tuple(rows.fieldnames or ()) != COLUMNS:
        raise InputError(f"{name}: expected the header at,kind,text", "write it as the first line")
    found = []
    try:
        for row in rows:
            place = f"{name}, line {rows.line_num}"
            if None in row or None in row.values():
                raise InputError(f"{place}: expected 3 fields", "write at,kind,text, text with commas in quotes")
            kind = " ".join(row["kind"].lower().replace("-", " ").split()) or "note"
            if kind not in KINDS:
                near = get_close_matches(kind, KINDS, n=1)
                hint = f'did you mean "{near[0]}"? ' if near else ""
                raise InputError(f'{place}: unknown kind "{row["kind"]}"', f"{hint}known: {', '.join(KINDS)}")
            at = parse_moment(row["at"], zone, place)
            found.append(Mark(at=at, kind=kind, text=row["text"].strip() or kind))
            if len(found) > MOST_MARKS:
                raise InputError(f"{place}: more than {MOST_MARKS} marks", "name a file of marks, not a log")
    except csv.Error as wrong:
        raise InputError(f"{name}, line {rows.line_num}: not CSV: {wrong}", "mend the quotes") from wrong
    if not found:
        raise InputError(f"{name}: no mark below the header", 'add one, as 2025-04-11T12:13,repair,"lamp relay"')
    return sorted(found, key=lambda mark: mark.at)


def repair_of(marks: list[Mark]) -> int:
    """Time of the last repair or battery replacement; raises SettingError when there is none."""
    times = [mark.at for mark in marks if mark.kind in ("repair", "battery replaced")]
    if not times:
        raise SettingError("no mark of the kind repair", "add one to the marks, or give --repair-at 2025-04-11T12:13")
    return max(times)


@dataclass(slots=True)
class _Around:
    """Sums of amps and counts of samples of the minutes around a mark; place 0 is BEFORE_MIN + SLACK_MIN before it."""

    start_us: int
    sums: Any = field(default_factory=lambda: np.zeros(BEFORE_MIN + AFTER_MIN + 2 * SLACK_MIN))
    counts: Any = field(default_factory=lambda: np.zeros(BEFORE_MIN + AFTER_MIN + 2 * SLACK_MIN))


class MarkWatch:
    """Sees the blocks pass and keeps the minutes around each mark; bounded by the number of marks."""

    def __init__(self, marks: list[Mark]) -> None:
        self.marks = marks
        self.around = [_Around(mark.at - (BEFORE_MIN + SLACK_MIN) * MINUTE_US) for mark in marks]

    def passing(self, blocks: Iterable[Block]) -> Iterator[Block]:
        """The same blocks."""
        for block in blocks:
            self._see(block)
            yield block

    def _see(self, block: Block) -> None:
        if block.amps is None or not len(block):
            return
        for minutes in self.around:
            length = len(minutes.sums)
            ends = [minutes.start_us, minutes.start_us + length * MINUTE_US]
            begin, end = np.searchsorted(block.t_us, ends)
            amps = block.amps[begin:end]
            known = np.isfinite(amps)
            place = ((block.t_us[begin:end] - minutes.start_us) // MINUTE_US)[known]
            minutes.sums += np.bincount(place, amps[known], length)
            minutes.counts += np.bincount(place, minlength=length)

    def effects(self, result: Result) -> list[Mark]:
        """The marks with what changed at each, once all blocks have passed and `result` is complete."""
        return [
            mark.model_copy(update={"effect": self._effect(place, mark, result)})
            for place, mark in enumerate(self.marks)
        ]

    def _effect(self, place: int, mark: Mark, result: Result) -> Effect:
        others = [other.at for other in self.marks if other.at != mark.at]
        since = max((at for at in others if at < mark.at), default=None)
        until = min((at for at in others if at > mark.at), default=None)
        before = self._drains(place, mark.at - BEFORE_MIN * MINUTE_US, mark.at, since, None, result)
        after = self._drains(place, mark.at, mark.at + AFTER_MIN * MINUTE_US, None, until, result)
        waited = len(after) + SLACK_MIN
        after = after[-LEVEL_MIN:]
        ended = [group for group in result.wake_up_groups if _ended(group, mark.at, result)]
        told = [_group_sentence(group) for group in ended]
        effect = Effect(groups_ended=[group.group for group in ended])
        if len(before) < LEAST_MIN or len(after) < LEAST_MIN:
            effect.text = " ".join(["Its effect on the level is unknown: too little current logged around it.", *told])
            return effect
        moved = shift(before, after)
        effect.amps_before, effect.amps_after = float(np.median(before)), float(np.median(after))
        effect.change_a, effect.low_a, effect.high_a = moved.estimate, moved.low, moved.high
        effect.text = " ".join([_level_sentence(effect, waited), *told])
        return effect

    def _drains(
        self, place: int, start: int, end: int, since: int | None, until: int | None, result: Result
    ) -> list[float]:
        """Mean drains of the whole minutes in [start, end) that lie in a stand and between the other marks."""
        minutes, found = self.around[place], []
        slack = SLACK_MIN * MINUTE_US
        for minute, (total, number) in enumerate(zip(minutes.sums, minutes.counts, strict=True)):
            at = minutes.start_us + minute * MINUTE_US
            near = self.marks[place].at
            inside = start - slack <= at < end + slack and not near - slack <= at < near + slack
            apart = (since is None or at >= since + slack) and (until is None or at + MINUTE_US <= until - slack)
            if number and inside and apart and _standing(at, at + MINUTE_US, result):
                found.append(-float(total / number))
        return found


def _standing(start: int, end: int, result: Result) -> bool:
    last = result.log.last or 0
    return any(s.start <= start and end <= (s.end if s.end is not None else last) for s in result.stands)


def _level_sentence(effect: Effect, waited: int) -> str:
    change, low, high = effect.change_a, effect.low_a, effect.high_a
    sure = change is not None and low is not None and high is not None and low * high > 0 and abs(change) >= LEAST_A
    if not sure or change is None:
        if waited >= WAKE_MIN:
            return f"Nothing changed in {waited} min."
        return f"Nothing changed: reclosed circuits wake modules for up to {WAKE_MIN} min, wait."
    if change < 0:
        return "The level fell." if waited >= WAKE_MIN else f"The level fell, as seen over {waited} min."
    more = "" if waited >= WAKE_MIN else f": reclosed circuits wake modules for up to {WAKE_MIN} min, wait"
    return f"The level rose{more}."


def _ended(group: WakeUpGroup, at: int, result: Result) -> bool:
    """Whether the group came before the mark, and was due at least DUE times since."""
    if group.last >= at:
        return False
    earlier = _stood_us(group.first, at, result)
    return earlier > 0 and group.count / earlier * _stood_us(at, result.log.last or at, result) >= DUE


def _stood_us(start: int, end: int, result: Result) -> int:
    last = result.log.last or end
    ends = [(s.start, s.end if s.end is not None else last) for s in result.stands]
    return sum(max(0, min(stop, end) - max(begin, start)) for begin, stop in ends)


def _group_sentence(group: WakeUpGroup) -> str:
    return f"Wake-up group {group.group} ({group.count} times, {group.excess_a * 1000:.0f} mA) has not come since."
