"""Marks in sentences: when, what, and what changed."""

from __future__ import annotations

from datetime import tzinfo
from typing import IO

from monitor.base.errors import printable
from monitor.base.results import Effect, Mark
from monitor.views.lines import Lines
from monitor.views.words import NB, LocalTime, amps, amps_between


def print_marks(
    marks: list[Mark], zone: tzinfo | None, relative: bool, file: IO[str] | None = None, width: int | None = None
) -> None:
    """Print the marks under a heading; nothing at all for none. Times as in `LocalTime`."""
    Lines(file, width).items("Marks", mark_sentences(marks, LocalTime(zone, relative)))


def mark_sentences(marks: list[Mark], time: LocalTime) -> list[str]:
    """A sentence each."""
    return [_mark(mark, time) for mark in marks]


def _mark(mark: Mark, time: LocalTime) -> str:
    text = f"{time.moment(mark.at)}, {mark.kind}"
    if mark.text != mark.kind:
        text += f" ({printable(mark.text)})"
    effect = mark.effect
    return text + (f": {_effect(effect)}" if effect is not None else "")


def _effect(effect: Effect) -> str:
    text = effect.text or ""
    if effect.change_a is None or effect.amps_before is None or effect.amps_after is None:
        return text
    levels = f"{amps(effect.amps_before)} before, {amps(effect.amps_after)} after"
    if effect.low_a is None or effect.high_a is None:
        return f"{levels}. {text}"
    interval = f"95{NB}% interval {amps_between(effect.low_a, effect.high_a)}"
    return f"{levels}, change {amps(effect.change_a)} ({interval}). {text}"
