"""One vehicle's service: the reader and keeper threads, what else runs beside them, and what it says of its health."""

from __future__ import annotations

import os
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, TypeVar

from monitor import __version__
from monitor.base.errors import KeyoffError, StoreError
from monitor.base.health import Health, JobRun, Link
from monitor.base.orders import Order
from monitor.base.results import ClockStep, Result
from monitor.base.vehicle import Vehicle
from monitor.limits.rules import Rules, rules_text
from monitor.service import health, inbox
from monitor.service.clock import ClockWatch, unset
from monitor.service.keeper import Keeper
from monitor.service.telling import LOG
from monitor.store.home import Home
from monitor.store.journal import Journal

T = TypeVar("T")

HEALTH_S = 5.0  # our choice: a person who looks sees what is
OBSERVE_S = 60.0  # our choice: disk and clock do not change faster in a way that matters
FIRST_DELAY_S, LAST_DELAY_S = 1.0, 60.0  # our choice: before a thread that died is started again
CLOCK_WAIT_S = 300.0  # our choice: so long a clock that is not set is waited for; networks come up within minutes
READER_S, CLOSING_S = 0.5, 0.6  # our choice: of the time to end, for the reader, and for the last entry
DO_S = 60.0  # our choice: what is posted to the keeper is done by then, or the keeper is stuck


class Beside(Protocol):
    """What runs beside the keeper in its own thread (outbox, forwarder, publisher)."""

    name: str

    def start(self) -> None:
        """Begin."""

    def stop(self, timeout_s: float) -> None:
        """End within that time."""

    def health(self) -> object:
        """What it says of itself."""


@dataclass
class Station:
    """Supervises the threads of one vehicle.

    rules     as its files have them now
    restarts  how often each thread was started again after a fault
    told      the health it told last
    """

    vehicle: Vehicle
    file: Path | None
    home: Home
    keeper: Keeper
    rules: Rules
    beside: list[Beside] = field(default_factory=list)
    runs: Callable[[], dict[str, JobRun]] = dict
    clock_watch: ClockWatch = field(default_factory=ClockWatch)
    restarts: dict[str, int] = field(default_factory=dict)
    told: Health | None = None

    def __post_init__(self) -> None:
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._started_us = self.keeper.wall_us()
        self._began_s = self.keeper.clock()
        self._next_health = self._next_observe = 0.0
        self._counts: deque[tuple[float, int]] = deque(maxlen=int(60 / HEALTH_S) + 1)  # the last minute
        self._clock_why = ""
        self._unset_since_s: float | None = None
        self._faults: set[str] = set()
        self._told_state = ""
        self._runs: dict[str, JobRun] = {}

    # --- for jobs -----------------------------------------------------------------------------------------------------

    def now_us(self) -> int:
        """This computer's clock."""
        return self.keeper.wall_us()

    def post(self, work: Callable[[Journal], T]) -> Future[T]:
        """Let `work` be done on the journal in the keeper's thread."""
        return self.keeper.post(work)

    def do(self, work: Callable[[Journal], T]) -> T:
        """The same, and wait for its result; StoreError when the keeper does not come to it."""
        if not self._threads:
            return work(self.keeper.journal)
        try:
            return self.keeper.post(work).result(DO_S)
        except TimeoutError as late:
            raise StoreError(
                f"{self.vehicle.name}: the journal's keeper did not come to it within {DO_S:g} s",
                "see keyoff status",
                "failing",
            ) from late

    def document(self) -> Result:
        """The result document of the last days."""
        from monitor.service.documents import last_days

        return last_days(self)

    # --- life ---------------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Go on where the journal says, and start the threads."""
        for folder in (self.home.folder, self.home.inbox):
            folder.mkdir(parents=True, exist_ok=True)
        self.keeper.held = self.waits_for_clock
        self._damage()
        self.keeper.start()
        self.rules_changed(self.rules, anew=not self.keeper.journal.position)
        self.look()
        reader, keeper = self.keeper.reader, self.keeper
        self._threads = [
            threading.Thread(target=self._kept_alive, args=(name, run), name=f"{name} {self.vehicle.name}", daemon=True)
            for name, run in (("reader", reader.run), ("keeper", keeper.run))
        ]
        for thread in self._threads:
            thread.start()
        for other in self.beside:
            other.start()

    def stop(self, deadline_s: float) -> bool:
        """End by that monotonic time, all written; False when the keeper did not come to an end."""
        self._stop.set()
        self.keeper.reader.stop()
        self.keeper.stop()
        for other in self.beside:
            other.stop(max(0.0, deadline_s - time.monotonic()) / 2)
        for thread in reversed(self._threads):  # the keeper before the reader, which may hang in its port
            left_s = deadline_s - time.monotonic() - CLOSING_S
            thread.join(max(0.0, min(left_s, READER_S) if thread.name.startswith("reader") else left_s))
        if any(thread.is_alive() and thread.name.startswith("keeper") for thread in self._threads):
            LOG.error("%s: the keeper did not end in time; what was committed is safe", self.vehicle.name)
            return False
        try:
            self.keeper.close()
        except KeyoffError as wrong:
            LOG.error("%s: %s; %s", self.vehicle.name, wrong.what, wrong.remedy)
        self.write_health()
        return True

    def alive(self, within_s: float) -> bool:
        """Whether the keeper made progress lately and the reader runs."""
        return self.keeper.clock() - self.keeper.beat_s < within_s and all(t.is_alive() for t in self._threads)

    def rules_changed(self, rules: Rules, anew: bool = False) -> bool:
        """Give the watch other rules, unless it has these already; a new journal begins with its rules."""
        if self.keeper.guard.rules == rules and not anew:
            return False
        at = self.keeper.wall_us()
        self.keeper.give(Order(id=f"{at:016d}-rules", at=at, kind="rules", text=rules_text(rules)))
        return True

    def look(self) -> None:
        """What is looked at from time to time: link, clock, disk, and the health file. Called by the main thread."""
        now = self.keeper.clock()
        self._link()
        if now >= self._next_observe:
            self._next_observe = now + OBSERVE_S
            self._observe(now)
            inbox.forget_answers(self.home, time.time())
        if now >= self._next_health:
            self._next_health = now + HEALTH_S
            self.write_health()
            self._failed_jobs()

    def _kept_alive(self, name: str, run: Callable[[], None]) -> None:
        delay_s = FIRST_DELAY_S
        while not self._stop.is_set():
            try:
                run()
                return
            except Exception as fault:  # noqa: BLE001 - a thread that dies is an event: told, and started again
                if self._stop.is_set():
                    return
                self.restarts[name] = self.restarts.get(name, 0) + 1
                LOG.error(
                    "%s: the %s failed and starts again in %g s", self.vehicle.name, name, delay_s, exc_info=fault
                )
                self._stop.wait(delay_s)
                delay_s = min(2 * delay_s, LAST_DELAY_S)

    def _link(self) -> None:
        reader, keeper = self.keeper.reader, self.keeper
        now_us, state = keeper.wall_us(), reader.state
        if state != self._told_state:
            self._told_state, self._next_health = state, 0.0  # who waits for it sees it soon
        recording = getattr(reader.logger, "trouble", "")  # where raw bytes are recorded
        if recording:
            keeper.telling.stands("recording", recording)
        else:
            keeper.telling.over("recording", "raw bytes are recorded again")
        for kind in [kind for kind in self._faults if kind != state]:
            self._faults.remove(kind)
            keeper.troubles.over(kind, now_us)
        if state in ("opening", "speaking"):
            keeper.telling.over("link", f"{reader.logger.name} speaks again")
            return
        if keeper.hushed_until is None:  # who works on the car unplugs things
            self._faults.add(state)
            keeper.troubles.seen(state, reader.why, now_us)
        keeper.telling.stands("link", f"logger {state.replace('_', ' ')}: {reader.why}")

    def _failed_jobs(self) -> None:
        failed = [f"{name}: {run.text}" for name, run in self._runs.items() if run.outcome == "failed"]
        if failed:
            self.keeper.troubles.seen("job_fault", "; ".join(failed), self.keeper.wall_us())
        else:
            self.keeper.troubles.over("job_fault", self.keeper.wall_us())

    def _damage(self) -> None:
        """A journal that was damaged is a thing to know, loudly."""
        damage = self.keeper.journal.damage
        if damage is not None:
            LOG.error("%s: %s", self.vehicle.name, damage)
            self.keeper.troubles.seen("journal_damaged", str(damage), self.keeper.wall_us())

    def waits_for_clock(self) -> bool:
        """Whether arrivals should wait because their times would be wrong."""
        if self.keeper.samples or not self.keeper.reader.stamped or self.keeper.clock() - self._began_s > CLOCK_WAIT_S:
            return False
        return bool(self._clock_why)

    def _observe(self, now_s: float) -> None:
        keeper = self.keeper
        self._clock_why = unset(keeper.wall_us(), keeper.last_us if keeper.reader.stamped else None) or ""
        if not self._clock_why:
            self._unset_since_s = None
            keeper.telling.over("clock", "the clock is set")
        elif self._unset_since_s is None:
            self._unset_since_s = now_s
            keeper.telling.stands("clock", self._clock_why)
        unset_s = 0.0 if self._unset_since_s is None else max(1.0, now_s - self._unset_since_s)
        values = {"clock_unset": unset_s}
        free = keeper.disk_free()
        if free is not None:
            values["disk_free"] = float(free)
        for other in self.beside:
            if other.name == "notices":
                values["notices_waiting"] = _oldest_s(other.health())
        keeper.observe(values)

    # --- health -------------------------------------------------------------------------------------------------------

    def write_health(self) -> None:
        """Write the health file; a disk that does not take it is told elsewhere already."""
        self.told = self.health()
        try:
            health.write(self.home.health, self.told)
        except OSError:
            return

    def health(self) -> Health:
        """What each part last did."""
        keeper, reader, guard = self.keeper, self.keeper.reader, self.keeper.guard
        now_s, now_us = keeper.clock(), keeper.wall_us()
        self._counts.append((now_s, keeper.samples))
        first_s, first = self._counts[0]
        rate = (keeper.samples - first) / (now_s - first_s) if now_s > first_s and keeper.samples > first else None
        rules = guard.rules
        self._runs = self.runs()
        return Health(
            vehicle=self.vehicle.name,
            zone=self.vehicle.log.time.zone,
            pid=os.getpid(),
            version=__version__,
            started=self._started_us,
            written=now_us,
            link=Link(
                logger=reader.logger.name,
                state=reader.state,
                why=reader.why,
                since=now_us - int((now_s - reader.since_s) * 1e6),
            ),
            last_sample=keeper.last_us,
            last_arrival=keeper.last_wall_us,
            rate_hz=rate,
            samples=keeper.samples,
            refused=dict(keeper.feed.ledger.refused),
            position=keeper.position,
            checkpoint=keeper.checkpoint_us,
            waiting_bytes=keeper.waiting_bytes,
            dropped=keeper.dropped,
            condition=keeper.condition,
            watch=guard.state,
            watch_why=guard.why,
            rules=None if rules is None else rules.name,
            hushed_until=keeper.hushed_until,
            alarms=keeper.alarms,
            disk_free_bytes=keeper.disk_free(),
            clock_why=self._clock_why,
            clock_steps=[ClockStep(at=step.at_us, seconds=step.size_us / 1e6) for step in self.clock_watch.steps],
            jobs=self._runs,
            restarts=dict(self.restarts),
            troubles=keeper.telling.standing(),
            parts={other.name: other.health() for other in self.beside},
        )


def _oldest_s(destinations: object) -> float:
    """Age of the oldest notice that waits, of all destinations."""
    told = destinations if isinstance(destinations, list) else []
    return max((float(one.get("oldest_waiting_s", 0.0)) for one in told), default=0.0)
