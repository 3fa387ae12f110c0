"""The alarms that stand, numbered, as a person reads them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import tzinfo
from typing import IO

from monitor.base.alarms import Alarm, AlarmState
from monitor.base.errors import printable
from monitor.base.fields import micros
from monitor.views.figures import figure, quantity_name
from monitor.views.lines import Lines
from monitor.views.words import LocalTime, plain

UTC_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")

STATES: dict[AlarmState, str] = {
    "normal": "normal",
    "unacknowledged": "not acknowledged",
    "acknowledged": "acknowledged, still so",
    "returned_unacknowledged": "over, not acknowledged",
    "shelved": "shelved",
    "suppressed_by_design": "suppressed by design: another alarm tells it, or it is hushed",
    "out_of_service": "out of service",
}


def print_alarms(
    vehicles: Sequence[tuple[str, Sequence[Alarm], int | None, tzinfo | None]],
    file: IO[str] | None = None,
    width: int | None = None,
) -> None:
    """Print (vehicle, its alarms, hushed until µs or None, zone of its times or None: this computer's)."""
    out = Lines(file, width)
    for place, (vehicle, alarms, hushed, zone) in enumerate(vehicles):
        time = LocalTime(zone)
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
    """What happened and what to do; of one that is suppressed only what happened: another alarm stands for it."""
    told = [f"{_figures(alarm)}. Raised {time.moment(alarm.raised)}."]
    if alarm.returned is not None:
        told.append(f"Over since {time.moment(alarm.returned)}.")
    if alarm.shelved_until is not None:
        told.append(f"Shelved until {time.moment(alarm.shelved_until)}.")
    if alarm.state == "suppressed_by_design":
        return told
    if alarm.detail:
        told.append(_sentence(local_times(alarm.detail, time)))
    return [*told, _sentence(alarm.cause), f"What to do: {_sentence(alarm.response)}"]


def local_times(text: str, time: LocalTime) -> str:
    """The text with its UTC times as a person reads them."""
    return UTC_TIME.sub(lambda found: time.moment(int(str(micros(found[0])))), text)


def _figures(alarm: Alarm) -> str:
    def said(value: float) -> str:
        return plain(figure(value, alarm.unit, alarm.quantity))

    value = "unknown" if alarm.value is None else said(alarm.value)
    beyond = "above" if alarm.side == "high" else "below"
    name = quantity_name(alarm.quantity)
    text = f"{name[:1].upper()}{name[1:]} {value}, {beyond} {said(alarm.setpoint)}"
    if alarm.worst is not None and alarm.value is not None and said(alarm.worst) != value:
        text += f"; the worst so far {said(alarm.worst)}"
    return text


def _sentence(text: str) -> str:
    text = printable(text).rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."
