"""What `keyoff replay` prints: the verdict, the log, battery and charge, then each stand and drive in local time.

Wide terminals get the times in a column of their own; narrow ones get them as a line above the sentences. Weight and
colour only repeat what the words say, and characters that the output cannot carry are spelt in ASCII.
"""

from __future__ import annotations

from datetime import tzinfo
from typing import IO

from monitor.base.errors import printable
from monitor.base.results import Drive, Result, Stand, Verdict
from monitor.views.alarm_rows import alarm_rows
from monitor.views.balance import balance_rows
from monitor.views.drive import drive_faults, drive_sentences
from monitor.views.lines import Lines
from monitor.views.logbook import log_rows, notice_sentences
from monitor.views.shared import heading
from monitor.views.stand import BASIS, stand_sentences
from monitor.views.verdict import headline, verdict_rows
from monitor.views.words import LocalTime

NARROW = 80  # columns below which times stand above the sentences. Our choice
TIMES = 26  # columns for the times, where they have a column of their own

CLOSING = "These are findings, not a verdict: what they mean was not assessed."


def print_replay(
    result: Result,
    zone: tzinfo | None,
    file: IO[str] | None = None,
    width: int | None = None,
    rules: str | None = None,
) -> None:
    """Print `result` for a person; times in `zone`, or in this computer's zone when None.

    `width` in columns; None: that of the terminal, at most WIDEST. `rules`: those its alarms are of; None: no limits
    were judged.
    """
    relative = any(notice.kind == "relative_times" for notice in result.log.notices)
    _Page(file, width).replay(result, LocalTime(zone, relative), rules)


class _Page(Lines):
    """Lays the parts of a result out."""

    def __init__(self, file: IO[str] | None, width: int | None) -> None:
        super().__init__(file, width)
        self.narrow = self.width < NARROW

    def replay(self, result: Result, time: LocalTime, rules: str | None) -> None:
        """The whole text."""
        self.wrapped(printable(result.vehicle), weight="bold")
        if result.verdict is not None:
            self.verdict(result.verdict)
        if rules is not None:
            for label, text in alarm_rows(result.alarms, rules, time, result.log.last or 0):
                self.wrapped(text, 10, label)
            self.line()
        for label, text in log_rows(result, time):
            self.wrapped(text, 10, label)
        for text in notice_sentences(result.log):
            self.wrapped(text, 10, "Note", "bold")
        assessed = balance_rows(result)
        if assessed:
            self.line()
        for label, text in assessed:
            self.wrapped(text, 10, label)
        parts: list[Stand | Drive] = [*result.stands, *result.drives]
        day = ""
        for part in sorted(parts, key=lambda part: part.start):
            today = time.day(part.start)
            if today != day:
                day = today
                self.line()
                self.line(today, "bold")
            self.part(part, result, time)
        if not parts:
            self.line()
            self.line("No stand and no drive recognised in this log.")
        if result.verdict is None:
            self.line()
            self.wrapped(CLOSING)

    def verdict(self, verdict: Verdict) -> None:
        """The verdict, what speaks for it and against, what is missing, what to do next."""
        self.line()
        self.wrapped(printable(headline(verdict)), weight="bold")
        for row in verdict_rows(verdict):
            self.wrapped(printable(row.text), 10, row.label)
        self.line()

    def part(self, part: Stand | Drive, result: Result, time: LocalTime) -> None:
        """One stand or drive."""
        if isinstance(part, Stand):
            faults, sentences = [], stand_sentences(part, result.log, time)
        else:
            faults, sentences = drive_faults(part), drive_sentences(part, result.log)
        end = part.end if part.end is not None else result.log.last
        times = time.clock(part.start)
        if end is not None:
            times += f" – {time.beside(end, part.start)}"
        self.line()
        if self.narrow:
            self.wrapped(f"{times}  {heading(part, result.log)}", weight="bold")
        else:
            self.wrapped(heading(part, result.log), TIMES, times, "bold")
        indent = 2 if self.narrow else TIMES
        for text in faults:
            self.wrapped(text, indent, weight="bold red")
        for text in sentences:
            self.wrapped(text, indent, weight="dim" if text.startswith(BASIS) else "")
