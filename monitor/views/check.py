"""The fitting check as a person reads it: cautions before a hand is laid on, findings, cautions before leaving."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO

from monitor.assess.fitting import Finding, Judgement
from monitor.base.errors import printable
from monitor.views.lines import Lines, Weight

# README, "Before you connect anything", in two halves; usual cautions of the trade, the service manual prevails.
BEFORE = [
    "Park brake, neutral or park. Never crank, run the engine or switch more than 10 A through a meter or small shunt.",
    "Negative (earth) comes off first and on last: ignition off, never while the engine runs.",
    "Batteries give off hydrogen: no flame, no spark, air. A hot post, a smell, a swollen case: stop.",
    "Airbags may stay live for a minute and more. Orange cables are high voltage: hybrids and electric vehicles are "
    "for trained people, their 12 V side too.",
]
LEAVING = [
    "Shunt rated for the starter, or bypassed before anybody cranks; say so on the steering wheel.",
    "A fuse of 1 A or less at the battery post in every sense lead; leads tied down, clear of fan, belt and hot parts. "
    "The fan may start with the key off.",
    "Keys well away, doors and bonnet as they will stay: what you opened or closed has woken the vehicle.",
    "The vehicle's service manual prevails.",
]
WORDS: dict[Judgement, tuple[str, Weight]] = {"ok": ("ok", ""), "mend": ("MEND", "bold"), "unknown": ("?", "dim")}
COLUMN = 6


def print_before(file: IO[str] | None = None, width: int | None = None) -> None:
    """Print what to mind before anything is touched."""
    out = Lines(file, width)
    out.items("Before you touch anything", BEFORE)
    out.line()


def print_findings(findings: Sequence[Finding], file: IO[str] | None = None, width: int | None = None) -> None:
    """Print the findings in their order, what to mind, and whether the vehicle may be left."""
    out = Lines(file, width)
    out.line()
    for one in findings:
        word, weight = WORDS[one.judgement]
        out.wrapped(printable(f"{one.name[:1].upper()}{one.name[1:]}: {one.found}."), COLUMN, word, weight)
        if one.mend is not None:
            out.wrapped(printable(f"Mend: {one.mend}."), COLUMN, weight=weight)
    out.items("Before you leave it", LEAVING)
    out.line()
    out.wrapped(verdict(findings), weight="bold")


def verdict(findings: Sequence[Finding]) -> str:
    """One line: fit to leave, or what first."""
    mend = [one.name for one in findings if one.judgement == "mend"]
    unknown = [one.name for one in findings if one.judgement == "unknown"]
    said = f"Mend first: {', '.join(mend)}." if mend else "Fit to leave."
    return said + (f" Not known: {', '.join(unknown)}." if unknown else "")
