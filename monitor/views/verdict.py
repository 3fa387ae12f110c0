"""The verdict for a person: what it is and how sure, what speaks for and against, what is missing, what to do."""

from __future__ import annotations

from dataclasses import dataclass

from monitor.base.results import Cause, Verdict

MEANING: dict[Cause, str] = {
    "drain": "Something drains the battery while the vehicle stands.",
    "battery": "The battery itself is weak.",
    "charging": "The charging system does not do its work.",
    "usage": "Too many short trips: drives return less than stands and starts take.",
    "connection": "A bad connection between the battery and where the volts are sensed.",
    "sound": "Nothing wrong that this log could show.",
    "undetermined": "Undetermined: this log cannot carry a verdict.",
}
NAMES: dict[Cause, str] = {
    "drain": "drain",
    "battery": "battery",
    "charging": "charging",
    "usage": "usage (short trips)",
    "connection": "connection",
    "sound": "sound",
    "undetermined": "undetermined",
}
# Words for how sure. Our choice; the number stands in the document
SURE = ((0.95, "nearly certain"), (0.85, "very likely"), (0.7, "likely"), (0.0, "not certain"))


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the verdict: its label, once a group, and its sentence."""

    label: str
    text: str


def headline(verdict: Verdict) -> str:
    """The verdict in one line.

    >>> headline(Verdict(cause="drain", confidence=0.97))
    'Something drains the battery while the vehicle stands. (drain, nearly certain: 97 %)'
    """
    if verdict.cause == "undetermined":
        return MEANING["undetermined"]
    return f"{MEANING[verdict.cause]} ({NAMES[verdict.cause]}, {_sure(verdict.confidence)})"


def verdict_rows(verdict: Verdict) -> list[Row]:
    """What follows the headline: further causes, evidence for and against, what is missing, next steps, numbered."""
    rows = []
    if verdict.also:
        told = ", ".join(f"{NAMES[other.cause]} ({other.confidence * 100:.0f} %)" for other in verdict.also)
        rows.append(Row("Also", f"possible: {told}"))
    groups = (
        ("Because" if verdict.cause != "undetermined" else "Seen", verdict.because),
        ("Against" if verdict.cause not in ("undetermined", "sound") else "But", verdict.against),
        ("Missing", verdict.missing),
        ("Next", [f"{number}. {step}" for number, step in enumerate(verdict.next, 1)]),
    )
    if verdict.cause == "undetermined":
        groups = (groups[0], ("In order", verdict.against), *groups[2:])
    for label, texts in groups:
        rows += [Row(label if first == 0 else "", text) for first, text in enumerate(texts)]
    return rows


def _sure(confidence: float) -> str:
    return f"{next(word for least, word in SURE if confidence >= least)}: {min(confidence, 0.99) * 100:.0f} %"
