"""The alarms that stand, numbered, as a person reads them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from typing import IO

from monitor.base.alarms import Alarm, AlarmState
from monitor.base.errors import printable
from monitor.views.lines import Lines
from monitor.views.words import NB, LocalTime

STATES: dict[AlarmState, str] = {
    "normal": "normal",
    "unacknowledged": "not acknowledged",
    "acknowledged": "acknowledged, still so",
    "returned_unacknowledged": "over, not acknowledged",
    "shelved": "shelved",
    "suppressed_by_design": "suppressed",
    "out_of_service": "out of service",
}


def print_alarms(
    vehicles: Sequence[tuple[str, Sequence[Alarm], int | None]],
    zone: tzinfo | None,
    file: IO[str] | None = None,
    width: int | None = None,
) -> None:
    """Print (vehicle, its alarms, hushed until µs or None); times in `zone`, or in this computer's when it is None."""
    out, time = Lines(file, width), LocalTime(zone)
    for place, (vehicle, alarms, hushed) in enumerate(vehicles):
        if place:
            out.line()
        out.wrapped(printable(vehicle), weight="bold")
        if hushed is not None:
            until = f" until {time.moment(hushed)}" if hushed >= 0 else ""
            out.wrapped(f"Hushed{until}: nothing is announced.")
        if not alarms:
            out.wrapped("No alarm stands.")
        for number, alarm in enumerate(alarms, 1):
            _print(out, time, number, alarm)


def _print(out: Lines, time: LocalTime, number: int, alarm: Alarm) -> None:
    label = f"[{number}] "
    out.wrapped(f"{alarm.limit}, {alarm.priority}: {STATES[alarm.state]}", len(label), label, "bold")
    for text in sentences(alarm, time):
        out.wrapped(text, len(label))


def sentences(alarm: Alarm, time: LocalTime) -> list[str]:
    """What happened and what to do."""
    told = [f"{_figures(alarm)}. Raised {time.moment(alarm.raised)}."]
    if alarm.returned is not None:
        told.append(f"Over since {time.moment(alarm.returned)}.")
    if alarm.shelved_until is not None:
        told.append(f"Shelved until {time.moment(alarm.shelved_until)}.")
    if alarm.detail:
        told.append(_sentence(alarm.detail))
    return [*told, _sentence(alarm.cause), f"What to do: {_sentence(alarm.response)}"]


def _figures(alarm: Alarm) -> str:
    value = "No figure" if alarm.value is None else f"{alarm.value:g}{NB}{alarm.unit}"
    beyond = "above" if alarm.side == "high" else "below"
    text = f"{alarm.quantity.replace('_', ' ').capitalize()} {value}, {beyond} {alarm.setpoint:g}{NB}{alarm.unit}"
    if alarm.worst is not None and alarm.worst != alarm.value:
        text += f"; the worst so far {alarm.worst:g}{NB}{alarm.unit}"
    return text


def _sentence(text: str) -> str:
    text = printable(text).rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."
