"""The ledger of input: each line of input is a sample, or is counted here under the reason it was refused."""

from __future__ import annotations

from dataclasses import dataclass, field

FIRST_SHOWN = 3  # lines kept word for word per reason; our choice: enough to recognise the pattern
TEXT_KEPT = 120  # characters kept of such a line


@dataclass(frozen=True, slots=True)
class RefusedLine:
    """One refused line of input: where it stands and how it reads."""

    file: str
    line: int
    text: str


@dataclass(slots=True)
class Ledger:
    """Counts of what a source did not pass on as a sample; nothing vanishes silently.

    samples      rows passed on
    refused      rows refused, by reason
    first        the first FIRST_SHOWN lines of each reason
    duplicates   rows dropped because their time was already there (repeated rows, overlapping files)
    reordered    rows put back into time order
    clock_steps  (time in µs UTC after the step, size in seconds) of each recognised step of the logger's clock
    shift_us     data time − the logger's clock after the last step, for a live log to go on with after a restart

    >>> book = Ledger()
    >>> book.refuse("not a number", RefusedLine("night.csv", 7, "garbage"))
    >>> book.refused
    {'not a number': 1}
    """

    samples: int = 0
    refused: dict[str, int] = field(default_factory=dict)
    first: dict[str, list[RefusedLine]] = field(default_factory=dict)
    duplicates: int = 0
    reordered: int = 0
    clock_steps: list[tuple[int, float]] = field(default_factory=list)
    shift_us: int = 0

    def refuse(self, reason: str, line: RefusedLine | None = None, count: int = 1) -> None:
        """Count `count` refused rows under `reason`; keep `line` if it is among the first of that reason."""
        self.refused[reason] = self.refused.get(reason, 0) + count
        if line is not None:
            shown = self.first.setdefault(reason, [])
            if len(shown) < FIRST_SHOWN:
                shown.append(RefusedLine(line.file, line.line, line.text[:TEXT_KEPT]))
