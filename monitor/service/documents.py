"""The result document of the last days: what the journal holds of them, and what is open now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.base.errors import StoreError
from monitor.service.events import read
from monitor.store.reader import JournalReader

if TYPE_CHECKING:
    from monitor.base.results import Result
    from monitor.service.station import Station

DAYS = 8  # our choice: a week and the day before it
DAY_US = 86_400_000_000


def last_days(station: Station) -> Result:
    """Raises StoreError while the watch is off."""
    since_us = (station.keeper.last_us or 0) - DAYS * DAY_US
    with JournalReader(station.home) as reader:
        told = [read(event.kind, event.body) for event in reader.events(since_us=since_us)]
    ended = [event for event in told if event is not None]

    def now(_: object) -> Result:
        watch = station.keeper.guard.watch
        if watch is None:
            raise StoreError("the watch is off after a fault", "restart the service; see its log", "failing")
        return watch.document(ended, station.keeper.feed.ledger)

    return station.do(now)
