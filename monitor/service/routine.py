"""The jobs that every vehicle has, and when: upkeep of its journal, integrity check, summaries."""

from __future__ import annotations

from datetime import tzinfo

from monitor.base.vehicle import Vehicle
from monitor.service import aside
from monitor.service.jobs import Job, Station
from monitor.service.summary import jobs as summaries
from monitor.store import upkeep
from monitor.store.archive import Rolled
from monitor.store.forward_assessment import assessment_event
from monitor.store.home import Home
from monitor.store.journal import Entry

LONGEST_S = 1800.0  # our choice: a day at 2 kHz takes minutes on a slow board


def routine(vehicle: Vehicle, zone: tzinfo | None) -> list[Job]:
    """Jobs of a vehicle. Their hours are our choice: UTC days close at midnight, and one follows the other."""
    return [
        Job("roll-over", {"hour": 0, "minute": 20}, _roll_over),
        Job("retention", {"hour": 0, "minute": 50}, _retention),
        Job("relief", {"minute": "*/5"}, _relieve),
        Job("integrity", {"day_of_week": "sun", "hour": 2, "minute": 40}, _integrity),
        *([Job("assessment", {"minute": 5}, _assess)] if vehicle.database is not None else []),
        *summaries(vehicle, zone),
    ]


def _roll_over(station: Station) -> str:
    return upkeep.roll_over(station.home, station.vehicle.store, station.do, write=_archived_aside)


def _archived_aside(home: Home, day: int) -> Rolled:
    """A day's file, written by another process: Parquet's library stays out of this one."""
    rolled: Rolled = aside.call("monitor.store.upkeep:archived", home, day, timeout_s=LONGEST_S)
    return rolled


def _retention(station: Station) -> str:
    return upkeep.retention(station.home, station.vehicle.store, station.do, station.now_us())


def _relieve(station: Station) -> str:
    return upkeep.relieve(station.home, station.vehicle.store, station.do)


def _integrity(station: Station) -> str:
    return upkeep.integrity(station.home)


def _assess(station: Station) -> str:
    """What the assessment says now, for the database's pages."""
    event = assessment_event(station.document())
    if event is None:
        return "nothing to assess yet"
    station.do(lambda journal: journal.commit(Entry(events=[event])))
    return "assessed"
