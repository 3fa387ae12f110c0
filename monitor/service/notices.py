"""From what happened to letters: an alarm's steps and the troubles of link and service, one letter a destination.

A letter's key follows from what it tells and from its destination alone, so a letter that is planned again, after a
crash or after the watch was rebuilt, is the letter that is there already. Several letters become one message when they
are sent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from monitor.base.alarms import Priority, Transition
from monitor.base.fields import iso
from monitor.base.tables.notices import NoticesTable
from monitor.base.vehicle import Vehicle
from monitor.limits.watch import Event
from monitor.service.quiet import may_go_at
from monitor.store.entries import Letter
from monitor.views.letters import Words, alarm_words, over_words, trouble_words
from monitor.views.words import LocalTime

Planner = Callable[[Sequence[tuple[int, Event]], int], list[Letter]]


@dataclass(frozen=True, slots=True)
class Kind:
    """A trouble of the link or the service: how urgent, what it is, what it costs, how its end is told."""

    priority: Priority
    what: str
    meanwhile: str
    over: str


_UNSEEN = ("nothing is recorded", "the logger speaks again")
KINDS: dict[str, Kind] = {
    "silent": Kind("high", "the logger is silent", *_UNSEEN),
    "unplugged": Kind("high", "the logger is unplugged", *_UNSEEN),
    "hung_up": Kind("high", "the logger's connection was closed", *_UNSEEN),
    "refused": Kind("high", "the logger cannot be reached", *_UNSEEN),
    "port_taken": Kind("high", "another program has the logger's port", *_UNSEEN),
    "garbage": Kind("high", "the logger sends nothing readable", *_UNSEEN),
    "wrong_speed": Kind("high", "the logger sends at another speed", *_UNSEEN),
    "error": Kind("high", "the logger answers with errors", *_UNSEEN),
    "disk_full": Kind("high", "the disk is full", "samples cannot be kept", "samples are kept again"),
    "journal_damaged": Kind(
        "high", "the journal was damaged", "it was moved aside and a new one begun", "it is mended"
    ),
    "watch_fault": Kind("high", "the watch has failed", "samples are kept, not judged", "samples are judged again"),
    "job_fault": Kind("medium", "a job of the service fails", "the rest goes on", "the service's jobs work again"),
}
TOLD_AS_TROUBLE = "logger_silence"  # its alarm stands, but the link's trouble says it sooner, and why: told once
DAY_US = 86_400_000_000


def planner(vehicle: Vehicle, zone: tzinfo | None) -> Planner:
    """The planner of one vehicle's alarms: (number, event) pairs and the time now, µs UTC → letters.

    Pure in its arguments; times are told in `zone`, or in this computer's when it is None.
    """

    def plan(events: Sequence[tuple[int, Event]], now_us: int) -> list[Letter]:
        return [
            letter
            for _, event in events
            if isinstance(event, Transition) and event.alarm.quantity != TOLD_AS_TROUBLE
            for letter in _alarm_letters(event, vehicle, zone, now_us)
        ]

    return plan


def letters_to(
    table: NoticesTable,
    zone: tzinfo | None,
    key: str,
    words: Words,
    priority: Priority,
    at_us: int,
    now_us: int,
    after: str = "",
) -> Iterable[Letter]:
    """The same words to each destination that is told of this priority; when quiet hours let them.

    A logger's clock may be ahead by days: a letter never waits longer than if it had happened now.
    """
    due = min(may_go_at(t_us, priority, table.quiet, zone) for t_us in (at_us, now_us))
    for destination in table.destinations:
        to = destination.called
        if priority in destination.priorities:
            follows = f"{after} → {to}" if after else ""
            yield Letter(f"{key} → {to}", due, priority, words.subject, words.text, to, at_us, follows)


def _alarm_letters(step: Transition, vehicle: Vehicle, zone: tzinfo | None, now_us: int) -> Iterable[Letter]:
    alarm = step.alarm
    words = alarm_words(step, vehicle.name, LocalTime(zone))
    if words is None:
        return ()
    identity = f"alarm {alarm.limit} {alarm.side} {iso(alarm.raised)}"
    turn = f" {alarm.reminders}" if step.what == "reminder" else ""
    after = f"{identity} raised" if step.what == "returned" else ""
    key = f"{identity} {step.what}{turn}"
    return letters_to(vehicle.notices, zone, key, words, alarm.priority, step.at, now_us, after)


@dataclass(slots=True)
class _Standing:
    """A trouble that lasts: since when, why, and under which key it was told."""

    since_us: int
    why: str
    told: str = ""


class Troubles:
    """Troubles of the link and the service: told once they have lasted as long as [notices.delays] says.

    Each kind is told at most once a local day, however often it comes and goes and the service starts again, and its
    end once, if it was told. One that lasts is told again each day.
    """

    def __init__(self, vehicle: Vehicle, zone: tzinfo | None) -> None:
        self._vehicle, self._table, self._zone = vehicle, vehicle.notices, zone
        self._time = LocalTime(zone)
        self._standing: dict[str, _Standing] = {}
        self._over: list[Letter] = []

    def seen(self, kind: str, why: str, now_us: int) -> None:
        """The trouble is there; `why` says what happened and what to do, without secrets."""
        if kind not in KINDS:
            raise ValueError(f"no trouble is called {kind}; known: {', '.join(KINDS)}")
        standing = self._standing.setdefault(kind, _Standing(now_us, why))
        standing.why = why
        standing.since_us = min(standing.since_us, now_us)  # the clock was set back

    def over(self, kind: str, now_us: int) -> None:
        """The trouble is gone, or was not there."""
        standing = self._standing.pop(kind, None)
        if standing is None or not standing.told:
            return
        of = KINDS[kind]
        words = over_words(of.over, standing.since_us, now_us, of.priority, self._vehicle.name, self._time)
        key = f"{standing.told} over"
        self._over += letters_to(self._table, self._zone, key, words, of.priority, now_us, now_us, standing.told)

    def letters(self, now_us: int) -> list[Letter]:
        """What is to be told now; the same letters again and again while a trouble lasts, under the same keys."""
        letters, self._over = self._over, []
        for kind, standing in self._standing.items():
            first_us = standing.since_us + round(getattr(self._table.delays, kind) * 1e6)
            if now_us < first_us:
                continue
            of = KINDS[kind]
            at_us = first_us + (now_us - first_us) // DAY_US * DAY_US
            standing.told = f"{kind} {self._time.at(at_us).date()}"
            words = trouble_words(
                of.what, of.meanwhile, standing.why, standing.since_us, of.priority, self._vehicle.name, self._time
            )
            letters += letters_to(self._table, self._zone, standing.told, words, of.priority, at_us, now_us)
        return letters
