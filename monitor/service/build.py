"""From vehicle files to stations: everything a vehicle's service consists of, put together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from functools import partial
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitor.base.documents import load_document
from monitor.base.errors import SettingError, StoreError
from monitor.base.vehicle import Vehicle
from monitor.limits.rules import Rules, rules_from
from monitor.limits.watch import Watch
from monitor.service.beside import beside
from monitor.service.guard import Guard
from monitor.service.jobs import Jobs
from monitor.service.keeper import Keeper
from monitor.service.notices import Troubles, planner
from monitor.service.reader import Reader
from monitor.service.routine import routine
from monitor.service.station import Station
from monitor.service.telling import LOG
from monitor.sources.live.feed import Feed
from monitor.sources.live.opening import open_live
from monitor.sources.live.record import Recorded
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.rules_files import load_rules
from monitor.store.settings import keep_settings


def vehicles(files: Sequence[Path]) -> list[tuple[Vehicle, Path]]:
    """The vehicles of these files; SettingError where one cannot be watched."""
    cars = [(load_document(file, Vehicle), file) for file in files]
    for car, file in cars:
        if car.source is None:
            raise SettingError(f"{file}: nothing says where its logger is", 'add [source] url = "serial:/dev/ttyUSB0"')
    return cars


def build(vehicle: Vehicle, file: Path, home: Home, jobs: Jobs) -> Station:
    """A vehicle's service, ready to start; raises SettingError, or StoreError where its journal cannot be written."""
    assert vehicle.source is not None
    zone = ZoneInfo(vehicle.log.time.zone) if vehicle.log.time.zone else None
    rules = load_rules(vehicle, file)
    home.folder.mkdir(parents=True, exist_ok=True)
    journal = Journal(home)
    resume = journal.resume()
    _keep(journal, vehicle, rules)
    logger = open_live(vehicle.source.url, vehicle, since_us=resume.last_us)
    if vehicle.source.record:
        logger = Recorded(logger, folder=home.raw)
    guard = Guard(
        new=partial(Watch, vehicle, rules, zone),
        restore=partial(restored, vehicle, rules, zone),
        resume=journal.resume,
    )
    feed = Feed(vehicle.battery.nominal_v, ledger=resume.ledger, last_us=resume.last_us)
    keeper = Keeper(
        vehicle.name, home, journal, guard, feed, Reader(logger), planner(vehicle, zone), Troubles(vehicle, zone)
    )
    station = Station(vehicle, file, home, keeper, rules)
    station.beside = beside(station, zone)
    jobs.add(station, routine(vehicle, zone))
    station.runs = partial(jobs.runs, vehicle.name)
    return station


def restored(vehicle: Vehicle, rules: Rules, zone: tzinfo | None, snapshot: dict[str, Any]) -> Watch:
    """The watch of a checkpoint under the rules it had then: those of now come as an order, at their place."""
    then = snapshot.get("rules")
    return Watch.restore(vehicle, rules_from(then) if isinstance(then, str) else rules, zone, snapshot)


def reload_rules(station: Station) -> bool:
    """Read a vehicle's files again and give the watch its rules; raises SettingError, and nothing has changed then."""
    assert station.file is not None
    vehicle = load_document(station.file, Vehicle)
    rules = load_rules(vehicle, station.file)
    if vehicle.model_copy(update={"vehicle": station.vehicle.vehicle}) != station.vehicle:
        LOG.warning("%s: what changed beside the rules takes effect at the next start", station.vehicle.name)
    station.post(lambda journal: _keep(journal, vehicle, rules))
    return station.rules_changed(rules)


def _keep(journal: Journal, vehicle: Vehicle, rules: Rules) -> None:
    """Settings go beside the samples; a full disk does not keep the service from starting."""
    try:
        keep_settings(journal, vehicle, rules)
    except StoreError as fault:
        LOG.warning("%s: its settings are not kept beside its samples: %s", vehicle.name, fault)
