"""What `keyoff replay` prints: the verdict, the log, battery and charge, then each stand and drive in local time.

Wide terminals get the times in a column of their own; narrow ones get them as a line above the sentences. Weight and
colour only repeat what the words say, and characters that the output cannot carry are spelt in ASCII.
"""

from __future__ import annotations

import sys
import textwrap
from datetime import tzinfo
from typing import IO, TYPE_CHECKING, Literal

from monitor.base.errors import printable
from monitor.base.results import Drive, Result, Stand, Verdict
from monitor.views.alarm_rows import alarm_rows
from monitor.views.balance import balance_rows
from monitor.views.drive import drive_faults, drive_sentences
from monitor.views.logbook import log_rows, notice_sentences
from monitor.views.shared import heading
from monitor.views.stand import BASIS, stand_sentences
from monitor.views.verdict import headline, verdict_rows
from monitor.views.words import NB, LocalTime, plain

if TYPE_CHECKING:
    from rich.console import Console

NARROW = 80  # columns below which times stand above the sentences. Our choice
TIMES = 26  # columns for the times, where they have a column of their own
WIDEST = 120  # longer lines are hard to read
SPELT = {
    NB: " ",
    "–": "-",
    "−": "-",
    "…": "...",
    "×": "x",
    "±": "+/-",
    "Ω": "Ohm",
    "°": "deg ",
    "µ": "u",
    "·": "-",
}

CLOSING = "These are findings, not a verdict: this version holds them against no limits and names no cause."

Weight = Literal["", "bold", "bold red", "dim"]


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
    from rich.console import Console

    out = Console(file=file or sys.stdout, width=width, highlight=False, markup=False, emoji=False, soft_wrap=False)
    if width is None and out.width > WIDEST:
        out.width = WIDEST
    relative = any(notice.kind == "relative_times" for notice in result.log.notices)
    _Page(out).replay(result, LocalTime(zone, relative), rules)


class _Page:
    """Lays lines out on a console of one width."""

    def __init__(self, out: Console) -> None:
        self.out = out
        self.narrow = out.width < NARROW

    def replay(self, result: Result, time: LocalTime, rules: str | None) -> None:
        """The whole text."""
        self.beside("", printable(result.vehicle), 0, "bold")
        if result.verdict is not None:
            self.verdict(result.verdict)
        if rules is not None:
            for label, text in alarm_rows(result.alarms, rules, time, result.log.last or 0):
                self.beside(label, text, 10)
            self.line("")
        for label, text in log_rows(result, time):
            self.beside(label, text, 10)
        for text in notice_sentences(result.log):
            self.beside("Note", text, 10, "bold")
        assessed = balance_rows(result)
        if assessed:
            self.line("")
        for label, text in assessed:
            self.beside(label, text, 10)
        parts: list[Stand | Drive] = [*result.stands, *result.drives]
        day = ""
        for part in sorted(parts, key=lambda part: part.start):
            today = time.day(part.start)
            if today != day:
                day = today
                self.line("")
                self.line(today, "bold")
            self.part(part, result, time)
        if not parts:
            self.line("")
            self.line("No stand and no drive recognised in this log.")
        if result.verdict is None:
            self.line("")
            self.beside("", CLOSING, 0)

    def verdict(self, verdict: Verdict) -> None:
        """The verdict, what speaks for it and against, what is missing, what to do next."""
        self.line("")
        self.beside("", printable(headline(verdict)), 0, "bold")
        for row in verdict_rows(verdict):
            self.beside(row.label, printable(row.text), 10)
        self.line("")

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
        self.line("")
        if self.narrow:
            self.beside("", f"{times}  {heading(part, result.log)}", 0, "bold")
        else:
            self.beside(times, heading(part, result.log), TIMES, "bold")
        for text in faults:
            self.beside("", text, 2 if self.narrow else TIMES, "bold red")
        for text in sentences:
            self.beside("", text, 2 if self.narrow else TIMES, "dim" if text.startswith(BASIS) else "")

    def beside(self, label: str, text: str, indent: int, weight: Weight = "") -> None:
        """Text wrapped in a column that begins at `indent`, the label before it."""
        room = max(self.out.width - indent, 20)
        for line in textwrap.wrap(self.spelt(text), room, break_on_hyphens=False) or [""]:
            self.line(f"{label:<{indent}}{line}", weight)
            label = ""

    def line(self, text: str, weight: Weight = "") -> None:
        """One line of text, as it is."""
        from rich.text import Text

        self.out.print(Text(plain(self.spelt(text)), weight), soft_wrap=True)

    def spelt(self, text: str) -> str:
        """The text with only such characters as the output can carry."""
        try:
            plain(text).encode(self.out.encoding)
        except UnicodeEncodeError:
            for sign, ascii_text in SPELT.items():
                text = text.replace(sign, ascii_text)
            text = text.encode(self.out.encoding, "replace").decode(self.out.encoding)
        return text
