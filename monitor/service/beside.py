"""What runs beside a vehicle's keeper, each in threads of its own: the outbox, the forwarder to a database server,
the publisher to a broker.

They read the journal by readers of their own and post what is to be written to the keeper; none can hold up another.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import tzinfo

from monitor.service.archived import DayAside
from monitor.service.outbox import OutboxWorker
from monitor.service.station import Beside, Station
from monitor.service.telling import LOG
from monitor.store.reader import JournalReader

AGAIN_S = 60.0  # our choice: before what failed in spite of its promise is started again


class Outbox:
    """Delivers the notices."""

    name = "notices"

    def __init__(self, station: Station, zone: tzinfo | None) -> None:
        keeper = station.keeper
        self._worker = OutboxWorker(
            station.vehicle.notices,
            zone,
            reader=lambda: JournalReader(station.home),
            post=keeper.post,
            clock=keeper.wall_us,
        )
        keeper.letters_written, keeper.letters_unwritten = self._worker.wake, self._worker.hold

    def start(self) -> None:
        """Begin to deliver."""
        self._worker.start()

    def stop(self, timeout_s: float) -> None:
        """End within that time."""
        self._worker.stop(timeout_s)

    def health(self) -> object:
        """How each destination stands."""
        return self._worker.health()


class Worker:
    """Runs `work` until it is told to stop, and again should it fail."""

    def __init__(
        self, name: str, work: Callable[[threading.Event], None], state: Callable[[], object], vehicle: str
    ) -> None:
        self.name, self._work, self._state, self._vehicle = name, work, state, vehicle
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"{name} {vehicle}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, timeout_s: float) -> None:
        """End within that time, or be left behind: it is a daemon thread, and its place is kept in the journal."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)

    def health(self) -> object:
        """What it says of itself."""
        return self._state()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._work(self._stop)
                return
            except Exception as fault:  # noqa: BLE001 - told, and started again
                LOG.error("%s: the %s failed; again in %g s", self._vehicle, self.name, AGAIN_S, exc_info=fault)
                self._stop.wait(AGAIN_S)


def beside(station: Station, zone: tzinfo | None) -> list[Beside]:
    """What a vehicle's file asks for."""
    parts: list[Beside] = []
    if station.vehicle.notices.destinations:
        parts.append(Outbox(station, zone))
    if station.vehicle.database is not None:
        parts.append(_forwarder(station))
    if station.vehicle.broker is not None and station.vehicle.broker.url is not None:
        parts.append(_publisher(station))
    return parts


def _publisher(station: Station) -> Worker:
    from monitor.service.broker import Publisher

    publisher = Publisher(station.vehicle, lambda: station.told)
    return Worker("broker", publisher.run, lambda: publisher.state, station.vehicle.name)


def _forwarder(station: Station) -> Worker:
    from monitor.store.forward_backlog import Step
    from monitor.store.forwarder import Forwarder

    def move(step: Step) -> None:
        station.post(lambda journal: journal.move("database", step.position, step.lost, step.state, step.rejected))

    forwarder = Forwarder(station.vehicle, lambda: JournalReader(station.home, DayAside), move)
    return Worker("database", forwarder.run, lambda: forwarder.state, station.vehicle.name)
