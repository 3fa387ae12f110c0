"""The result document of the last days: what the journal holds of them, and what is open now."""

from __future__ import annotations

from collections.abc import Callable
from datetime import tzinfo
from typing import TYPE_CHECKING, cast
from zoneinfo import ZoneInfo

from monitor.base.errors import StoreError
from monitor.service import aside
from monitor.service.events import read
from monitor.store.reader import JournalReader

if TYPE_CHECKING:
    from monitor.base.results import Result
    from monitor.base.vehicle import Vehicle
    from monitor.service.station import Station

    Assess = Callable[[Result, Vehicle, tzinfo | None], Result]

DAYS = 8  # our choice: a week and the day before it
DAY_US = 86_400_000_000
LONGEST_S = 300.0  # our choice: eight busy days take seconds, on a slow board a minute


def assess_aside(result: Result, vehicle: Vehicle, zone: tzinfo | None) -> Result:
    """The assessed document, worked out in another process: its statistics take more memory than the service."""
    return cast("Result", aside.call("monitor.assess:assess", result, vehicle, zone, timeout_s=LONGEST_S))


def last_days(station: Station, assess: Assess = assess_aside) -> Result:
    """Raises StoreError while the watch is off. The keeper waits for no assessment."""
    since_us = (station.keeper.last_us or 0) - DAYS * DAY_US
    with JournalReader(station.home) as reader:
        told = [read(event.kind, event.body) for event in reader.events(since_us=since_us)]
    ended = [event for event in told if event is not None]

    def now(_: object) -> Result:
        watch = station.keeper.guard.watch
        if watch is None:
            raise StoreError("the watch is off after a fault", "restart the service; see its log", "failing")
        # a copy: the watch goes on with what it holds
        return watch.detected(ended, station.keeper.feed.ledger).model_copy(deep=True)

    zone = station.vehicle.log.time.zone
    return assess(station.do(now), station.vehicle, ZoneInfo(zone) if zone else None)
