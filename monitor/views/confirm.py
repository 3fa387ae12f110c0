"""A confirmation as a person reads it: the answer first, then what it rests on, night by night, and what is missing."""

from __future__ import annotations

from datetime import tzinfo
from typing import IO

from monitor.assess.compare import Comparison, Name
from monitor.assess.confirm import Answer, Confirmation
from monitor.base.errors import printable
from monitor.views.lines import Lines
from monitor.views.marks import mark_sentences
from monitor.views.words import NB, LocalTime, count

ANSWERS: dict[Answer, str] = {
    "proven": "Proven: the repair holds.",
    "not_yet": "Not yet proven.",
    "failed": "Failed: the fault is still there.",
}
NAMES: dict[Name, str] = {
    "sleep_current": "Sleep current",
    "nights_above_limit": "Nights above the limit",
    "wake_ups": "Wake-ups",
    "nights_with_wake_ups": "Nights with wake-ups",
    "charge_per_hour": "Charge taken an hour, as a mean current",
    "decay": "Fall of the rest voltage",
    "day_balance": "Charge lost on a whole day (minus: gained)",
}
SHOWN = 10  # nights whose values are told one by one on each side. Our choice: more is for the document
CAUTIONS = [
    "Change nothing else while the nights are counted: the same parking, the same trips, keys as far away.",
    "Opening, pulling fuses or reconnecting wakes modules: such a night is not a quiet one.",
    "The vehicle's service manual prevails.",
]


def print_confirmation(
    found: Confirmation, zone: tzinfo | None, file: IO[str] | None = None, width: int | None = None
) -> None:
    """Print the answer; times in `zone`, or in this computer's zone when None."""
    out, time = Lines(file, width), LocalTime(zone)
    out.wrapped(printable(found.vehicle), weight="bold")
    out.wrapped(f"{ANSWERS[found.answer]}{_more(found)}", weight="bold red" if found.answer == "failed" else "bold")
    nights = f"{count(found.nights_before, 'night')} before and {count(found.nights_after, 'night')} after it"
    out.wrapped(f"Repair at {time.moment(found.repair_at)} ({time.label(found.repair_at)}); {nights}.")
    out.items("Because", [_sentence(text) for text in found.because])
    for one in sorted(found.comparisons, key=lambda one: not one.decides):
        out.line()
        out.wrapped(NAMES[one.name] + (" (the answer rests on this)" if one.decides else ""), weight="bold")
        for text in _figures(one):
            out.wrapped(text, 2)
    out.items("Missing", [_sentence(text) for text in found.missing])
    out.items("Marks", mark_sentences(found.marks, time))
    out.items("Cautions", CAUTIONS)
    out.line()
    out.wrapped(
        "Basis: a night is a stand of 4 h and more that overlaps 22:00 to 06:00, and counts once. Levels: Mann-Whitney"
        " test and Hodges-Lehmann shift; events: conditional test of two Poisson rates. p is the one-sided chance of"
        " such an improvement by itself.",
        weight="dim",
    )


def _more(found: Confirmation) -> str:
    if found.answer != "not_yet" or not found.further_nights:
        return ""
    return f" It takes {count(found.further_nights, 'more quiet night')}."


def _sentence(text: str) -> str:
    text = printable(text).rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."


def _figures(one: Comparison) -> list[str]:
    events = one.events
    if events is None:
        told = [
            f"Median {_digits(one.middle_before)} before, {_digits(one.middle_after)} after;"
            f" shift {_digits(one.change)}{NB}{one.unit} ({_interval(one)}); {_p(one.p)}."
        ]
    else:
        unit = "h" if one.unit == "an hour" else "nights"
        told = [
            f"{events.before} in {_digits(events.before_time)}{NB}{unit} before, {events.after} in"
            f" {_digits(events.after_time)}{NB}{unit} after; {_ratio(one)}; {_p(one.p)}."
        ]
    if one.name != "nights_above_limit":
        each = "Each day" if one.name == "day_balance" else "Each night"
        told.append(f"{each}: {_values(one.before)} | {_values(one.after)}.")
    return told


def _ratio(one: Comparison) -> str:
    if one.change is None:
        return "no earlier rate to compare with"
    return f"the rate is {_digits(one.change)} times the earlier one ({_interval(one)})"


def _values(values: list[float]) -> str:
    shown = ", ".join(_digits(value) for value in values[:SHOWN])
    return shown + (f" and {len(values) - SHOWN} more" if len(values) > SHOWN else "")


def _interval(one: Comparison) -> str:
    if one.low is None and one.high is None:
        return f"so few nights carry no 95{NB}% interval"
    if one.high is None:
        return f"95{NB}% interval from {_digits(one.low)}"
    return f"95{NB}% interval {_digits(one.low)} to {_digits(one.high)}"


def _p(p: float) -> str:
    return "p below 0.0001" if p < 0.0001 else f"p = {p:.4f}" if p < 0.01 else f"p = {p:.3f}"


def _digits(value: float | None) -> str:
    """Three figures, with a real minus.

    >>> [_digits(value) for value in (441.0, 21.003, 0.0368, -419.9955, 0.0, None)]
    ['441', '21', '0.0368', '−420', '0', 'unknown']
    """
    return "unknown" if value is None else f"{value:.3g}".replace("-", "−")
