"""The words of notices: an alarm's steps, troubles of the service, and several notices as one message."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.base.alarms import Alarm, Priority, Transition
from monitor.base.errors import printable
from monitor.base.fields import EPOCH
from monitor.views.figures import figure, quantity_name
from monitor.views.words import LocalTime, count, length, plain

SUBJECT_CHARS = 80  # our choice: what mail programs and phones show of a subject
NAME_CHARS = 12  # of the vehicle's name are kept at least; our choice
LATE_US = 15 * 60 * 1_000_000  # our choice: later than this after it could have gone, a notice says so
RANK: dict[str, int] = {"critical": 0, "high": 1, "medium": 2, "low": 3}
UNTOLD_STATES = ("shelved", "suppressed_by_design", "out_of_service")

# Cautions of the trade where a hand may be put to it (TM 9-6140-200-14 and service manuals; common practice).
_CHARGED = (
    "Overcharging drives hydrogen and acid out of the battery: stop the engine, no flame or spark, do not lean over it."
)
_LOW = (
    "Do not charge or jump-start a battery that is frozen, swollen, hot or smelling. Ventilate, no sparks; the last"
    " clamp of a jump lead goes to engine earth."
)
_DRAIN = (
    "Never crank, or switch on more than 10 A, through a meter. Leave orange high-voltage cables and airbag (SRS)"
    " circuits to the trade."
)
_ENGINE = "Hands, hair and leads off belt and fan; never disconnect the battery while the engine runs."
CAUTIONS = {
    ("volts", "high"): _CHARGED,
    ("charging_volts", "high"): _CHARGED,
    ("rest_volts", "high"): _CHARGED,
    **{(name, "low"): _LOW for name in ("volts", "rest_volts", "state_of_charge", "days_to_no_start", "net_balance")},
    ("crank_volts_min", "low"): _LOW,
    **{(name, "high"): _LOW for name in ("crank_duration", "failed_starts", "decay", "resistance_rise")},
    **{
        (name, "high"): _DRAIN
        for name in (
            "sleep_current",
            "standing_current",
            "mean_night_current",
            "night_charge",
            "time_to_sleep",
            "wake_up_charge",
            "wake_up_length",
            "wake_up_rate",
        )
    },
    ("charging_volts", "low"): _ENGINE,
    **{(name, "high"): _ENGINE for name in ("charging_delay", "charging_unsteady", "uncharged", "ripple")},
}


@dataclass(frozen=True, slots=True)
class Words:
    """What a person gets: a subject of at most SUBJECT_CHARS on one line, and the text."""

    subject: str
    text: str


@dataclass(frozen=True, slots=True)
class Told:
    """One notice on its way: its words, when it happened, since when it could have gone, whether it may be a repeat."""

    words: Words
    priority: str
    at_us: int
    due_us: int
    repeat: bool = False


def alarm_words(step: Transition, vehicle: str, time: LocalTime) -> Words | None:
    """The notice of one step of an alarm; None where nobody is told: what a person did, and what is put aside."""
    alarm = step.alarm
    if step.what == "returned":
        return _returned(step, vehicle, time)
    if step.what not in ("raised", "reminder") or alarm.state in UNTOLD_STATES:
        return None
    name = quantity_name(alarm.quantity)
    still = "still: " if step.what == "reminder" else ""
    now = f" {_of(alarm, alarm.value)}" if alarm.value is not None else ""
    headline = f"{still}{name}{now}, limit {_of(alarm, alarm.setpoint)}"
    return Words(_subject(alarm.priority, vehicle, headline), "\n".join(_alarm_lines(step, name, time)))


def trouble_words(
    what: str, meanwhile: str, why: str, since_us: int, priority: Priority, vehicle: str, time: LocalTime
) -> Words:
    """The notice of a trouble of the link or the service that has lasted since `since_us`.

    what  as "the logger is silent"; meanwhile  what that costs; why  one sentence with what to do
    """
    lines = [f"Since {time.moment(since_us)}: {what}; {meanwhile}."]
    if why:
        lines.append(_sentence(why))
    return Words(_subject(priority, vehicle, what), _text(lines))


def over_words(what: str, since_us: int, end_us: int, priority: Priority, vehicle: str, time: LocalTime) -> Words:
    """The notice that a trouble is over; what  as "the logger speaks again"."""
    lasted = length(max(end_us - since_us, 0) / 1e6)
    text = f"Since {time.moment(end_us)}: {what}; the trouble lasted {lasted}. Nothing to do."
    return Words(_subject(priority, vehicle, what), _text([text]))


def message(notices: Sequence[Told], now_us: int, time: LocalTime) -> Words:
    """One message of one or more notices; what is late, or may be a repeat, says so."""
    if len(notices) == 1:
        only = notices[0]
        return Words(only.words.subject, _text([*_remarks(only, now_us, time), only.words.text]))
    first = min(notices, key=lambda told: (RANK.get(told.priority, len(RANK)), told.at_us))
    others = f" (+{len(notices) - 1} more)"
    parts = [f"{count(len(notices), 'notice')}, the oldest first."]
    for number, told in enumerate(notices, 1):
        lines = [f"{number}. {told.words.subject}", *_remarks(told, now_us, time), told.words.text]
        parts.append("\n".join(lines))
    return Words(_cut(first.words.subject, SUBJECT_CHARS - len(others)) + others, _text(["\n\n".join(parts)]))


def _alarm_lines(step: Transition, name: str, time: LocalTime) -> list[str]:
    alarm = step.alarm
    value = _of(alarm, alarm.value) if alarm.value is not None else "unknown"
    text = f"{_begun(name)} {value}; {alarm.side} limit {_of(alarm, alarm.setpoint)}"
    text += f", passed since {time.moment(alarm.since)}"
    worst = value if alarm.worst is None else _of(alarm, alarm.worst)
    lines = [f"{text}{'' if worst == value else f', at worst {worst}'}."]
    if step.what == "reminder":
        lines.append(f"Told again because nothing has changed since it was raised at {time.moment(alarm.raised)}.")
    else:
        lines += [_sentence(_in_local_time(alarm.detail, step.at, time))] if alarm.detail else []
        lines += [f"Likely cause: {_ended(alarm.cause)}"] if alarm.cause else []
    lines += [f"To do: {_ended(alarm.response)}"] if alarm.response else []
    caution = CAUTIONS.get((alarm.quantity, alarm.side))
    if caution:
        manual = "" if "service manual" in alarm.response else " The service manual comes first."
        lines.append(f"Caution: {caution}{manual}")
    return [plain(line) for line in lines]


_ISO = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")


def _in_local_time(text: str, near_us: int, time: LocalTime) -> str:
    """The text with its times of the document as times of the local clock."""

    def local(found: re.Match[str]) -> str:
        moment = datetime.fromisoformat(found[0])
        return time.beside((moment - EPOCH) // timedelta(microseconds=1), near_us)

    return _ISO.sub(local, text)


def _returned(step: Transition, vehicle: str, time: LocalTime) -> Words:
    alarm = step.alarm
    name = quantity_name(alarm.quantity)
    lasted = length(max(step.at - alarm.since, 0) / 1e6)
    worst = "" if alarm.worst is None else f", at worst {_of(alarm, alarm.worst)}"
    text = (
        f"{_begun(name)}: back within the {alarm.side} limit of {_of(alarm, alarm.setpoint)} since"
        f" {time.moment(step.at)}, after {lasted} beyond it{worst}."
    )
    return Words(_subject(alarm.priority, vehicle, f"normal again: {name}"), _text([text]))


def _of(alarm: Alarm, value: float) -> str:
    return figure(value, alarm.unit, alarm.quantity)


def _remarks(told: Told, now_us: int, time: LocalTime) -> list[str]:
    said = []
    if now_us - told.due_us > LATE_US:
        said.append(f"Late: happened at {time.moment(told.at_us)}, could not be sent before {time.moment(now_us)}.")
    if told.repeat:
        said.append("You may have this already: an earlier sending was cut off before it was confirmed.")
    return said


def _subject(priority: str, vehicle: str, headline: str) -> str:
    """The name gives way first, then the headline."""
    before, headline = f"[{priority}] ", plain(printable(plain(headline)))
    name = _cut(printable(vehicle), max(NAME_CHARS, SUBJECT_CHARS - len(before) - len(": ") - len(headline)))
    return _cut(f"{before}{name}: {headline}", SUBJECT_CHARS)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _begun(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _sentence(text: str) -> str:
    return _begun(_ended(text))


def _ended(text: str) -> str:
    text = printable(plain(text)).strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _text(lines: list[str]) -> str:
    return plain("\n".join(lines))
