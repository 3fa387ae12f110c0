"""The fitting check as a person reads it: the cautions first, then a line a finding with what to mend."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO

from monitor.assess.fitting import Finding, Judgement
from monitor.base.errors import printable
from monitor.views.lines import Lines
from monitor.views.replay import Weight

# README, "Before you connect anything"; the sources stand there and in the service manuals.
CAUTIONS = [
    "Never crank, run the engine or switch more than 10 A through a meter or a small shunt: bypass it first.",
    "The sense leads are fused at the battery post, 1 A or less each; the logger is live day and night: strain relief, "
    "nothing near fan, belt or hot parts. The fan may start with the key off.",
    "Disconnect negative (earth) first and connect it last, ignition off, never while the engine runs.",
    "Batteries give off hydrogen: no flame, no spark, ventilate. A hot terminal, a smell or a swollen case: stop.",
    "Airbags may stay live for a minute and more after disconnecting. Orange cables are high voltage: work on hybrid "
    "and electric vehicles, also on their 12 V side, is for trained people.",
    "Park brake, neutral or park. The vehicle's service manual prevails.",
]
WORDS: dict[Judgement, tuple[str, Weight]] = {"ok": ("ok", ""), "mend": ("MEND", "bold"), "unknown": ("?", "dim")}
COLUMN = 6


def print_cautions(file: IO[str] | None = None, width: int | None = None) -> None:
    """Print what to mind before anything is touched."""
    Lines(file, width).items("Before you touch anything", CAUTIONS)


def print_findings(findings: Sequence[Finding], file: IO[str] | None = None, width: int | None = None) -> None:
    """Print the findings in their order, and whether the vehicle may be left."""
    out = Lines(file, width)
    out.line()
    for one in findings:
        word, weight = WORDS[one.judgement]
        out.wrapped(printable(f"{one.name[:1].upper()}{one.name[1:]}: {one.found}."), COLUMN, word, weight)
        if one.mend is not None:
            out.wrapped(printable(f"Mend: {one.mend}."), COLUMN)
    out.line()
    bad = sum(one.judgement == "mend" for one in findings)
    unknown = sum(one.judgement == "unknown" for one in findings)
    left = f" {unknown} not known: a log can mislead there." if unknown else ""
    verdict = "Fit to leave." if not bad else f"Not fit to leave yet: {bad} to mend."
    out.wrapped(verdict + left, weight="bold")
