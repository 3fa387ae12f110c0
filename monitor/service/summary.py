"""The morning and the weekly summary as jobs: the document's words, to each destination that wants them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta, tzinfo
from typing import Any, Literal

from monitor.assess.confirm import Confirmation
from monitor.assess.marks import repair_of
from monitor.base.errors import SettingError
from monitor.base.fields import EPOCH
from monitor.base.results import Result
from monitor.base.tables.notices import DAY_MIN, WEEKDAYS
from monitor.base.vehicle import Vehicle
from monitor.service import aside
from monitor.service.clock import now_us as wall_us
from monitor.service.documents import LONGEST_S
from monitor.service.jobs import Job, Station
from monitor.service.quiet import may_go_at
from monitor.store.entries import Letter
from monitor.store.journal import Entry
from monitor.views.summary import morning_words, weekly_words
from monitor.views.words import LocalTime

Kind = Literal["morning", "weekly"]
PRIORITY = "low"  # a summary never breaks quiet hours that are not told to let all pass


def jobs(vehicle: Vehicle, zone: tzinfo | None, clock: Callable[[], int] = wall_us) -> list[Job]:
    """The summaries that the [notices] table asks for; none where nobody would get them."""
    if not any(destination.summaries for destination in vehicle.notices.destinations):
        return []

    def run(kind: Kind) -> Callable[[Station], str]:
        def put(station: Station) -> str:
            letters = summary_letters(kind, station.document(), vehicle, zone, clock())
            station.do(lambda journal: journal.commit(Entry(letters=letters)))
            return f"put into the outbox for {', '.join(letter.to for letter in letters)}"

        return put

    return [Job(f"{kind} summary", cron, run(kind)) for kind, cron in summary_cron(vehicle, zone).items()]


def summary_cron(vehicle: Vehicle, zone: tzinfo | None) -> dict[Kind, dict[str, Any]]:
    """Cron fields of each summary that is asked for; of the local clock, in `zone` or in this computer's."""
    table = vehicle.notices
    found: dict[Kind, dict[str, Any]] = {}
    if table.morning_min is not None:
        found["morning"] = _at(table.morning_min, zone)
    if table.weekly_min is not None:
        day, minute = divmod(table.weekly_min, DAY_MIN)
        found["weekly"] = {"day_of_week": WEEKDAYS[day].lower(), **_at(minute, zone)}
    return found


def summary_letters(kind: Kind, result: Result, vehicle: Vehicle, zone: tzinfo | None, now_us: int) -> list[Letter]:
    """One letter a destination; the key holds the local day, so a summary that is made twice goes out once."""
    if kind == "morning":
        words = morning_words(result, now_us, zone)
    else:
        words = weekly_words(result, now_us, zone, _repair(result, zone))
    key = f"{kind} {LocalTime(zone).at(now_us).date()}"
    due = may_go_at(now_us, PRIORITY, vehicle.notices.quiet, zone)
    return [
        Letter(f"{key} → {one.called}", due, PRIORITY, words.subject, words.text, one.called, now_us)
        for one in vehicle.notices.destinations
        if one.summaries
    ]


def _repair(result: Result, zone: tzinfo | None) -> Confirmation | None:
    """How the proof of the last repair stands; None when no repair is marked within the document."""
    try:
        at = repair_of(result.marks)
    except SettingError:
        return None
    first, last = result.log.first, result.log.last
    if first is None or last is None or not first < at < last:
        return None
    told: Confirmation = aside.call(
        "monitor.assess.confirm:confirm", result, at, zone or _own_zone(at), timeout_s=LONGEST_S
    )
    return told


def _own_zone(t_us: int) -> tzinfo:
    zone = (EPOCH + timedelta(microseconds=t_us)).astimezone().tzinfo
    assert zone is not None
    return zone


def _at(minute: int, zone: tzinfo | None) -> dict[str, Any]:
    return {"hour": minute // 60, "minute": minute % 60, "timezone": zone}  # None: the scheduler takes this computer's
