"""Jobs by the clock on the wall: each at its time, the last run kept in the journal, a missed one caught up once."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from monitor.base.errors import KeyoffError
from monitor.base.fields import EPOCH
from monitor.base.health import JobRun
from monitor.service.telling import Telling

if TYPE_CHECKING:
    from monitor.base.results import Result
    from monitor.base.vehicle import Vehicle
    from monitor.store.home import Home
    from monitor.store.journal import Journal

T = TypeVar("T")


class Station(Protocol):
    """What a job may use of one vehicle's service."""

    vehicle: Vehicle
    home: Home

    def now_us(self) -> int:
        """This computer's clock."""

    def do(self, work: Callable[[Journal], T]) -> T:
        """Do `work` on the journal in the keeper's thread and wait for its result."""

    def post(self, work: Callable[[Journal], T]) -> Future[T]:
        """The same without waiting."""

    def document(self) -> Result:
        """The result document of the last days."""


@dataclass(frozen=True, slots=True)
class Job:
    """Something to do by the clock.

    name   as `keyoff status` shows it
    cron   fields of a cron trigger, as {"hour": 3, "minute": 10}; its "timezone" is UTC unless it says otherwise
    run    does it; returns one sentence of what came of it, raises when it failed
    """

    name: str
    cron: Mapping[str, Any]
    run: Callable[[Station], str]


@dataclass(slots=True)
class _Kept:
    job: Job
    station: Station
    telling: Telling
    last: JobRun = field(default_factory=JobRun)


def _us(at: datetime) -> int:
    return (at - EPOCH) // timedelta(microseconds=1)


class Jobs:
    """The scheduler of all vehicles' jobs; one runs at a time."""

    def __init__(self, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._clock = clock
        self._kept: dict[tuple[str, str], _Kept] = {}
        self._scheduler: Any = None
        self._lock = threading.Lock()
        self.busy = ""  # the job that runs now

    def add(self, station: Station, jobs: list[Job]) -> None:
        """Register a vehicle's jobs, with their last runs as the journal has them."""
        for job in jobs:
            kept = _Kept(job, station, Telling(station.vehicle.name))
            kept.last = last_run(station, job.name)
            self._kept[station.vehicle.name, job.name] = kept

    def start(self) -> None:
        """Start; what was due since its last run and did not run then is run once now."""
        scheduler = _scheduler()
        now = self._clock()
        for (vehicle, name), kept in self._kept.items():
            at_once = {"next_run_time": now} if missed(kept.job, kept.last, now) else {}
            scheduler.add_job(self.run, trigger_of(kept.job), args=(vehicle, name), id=f"{vehicle}/{name}", **at_once)
        scheduler.start()
        self._scheduler = scheduler

    def clock_stepped(self) -> None:
        """The clock on the wall was set: look anew at what is due."""
        if self._scheduler is not None:
            self._scheduler.wakeup()

    def run(self, vehicle: str, name: str) -> None:
        """Run one job now, and keep what came of it."""
        kept = self._kept[vehicle, name]
        at = _us(self._clock())
        self.busy = name
        try:
            text = kept.job.run(kept.station)
            run = JobRun(at=at, outcome="done", text=text)
            kept.telling.over(name, f"{name}: works again")
        except KeyoffError as wrong:
            run = JobRun(at=at, outcome="failed", text=f"{wrong.what}; {wrong.remedy}")
        except Exception as fault:  # noqa: BLE001 - a job's fault must neither end the others nor go untold
            run = JobRun(at=at, outcome="failed", text=f"a fault of the program: {fault!r}")
        self.busy = ""
        if run.outcome == "failed":
            kept.telling.stands(name, f"{name} failed: {run.text}")
        with self._lock:
            kept.last = run
        keep_run(kept.station, name, run)

    def runs(self, vehicle: str) -> dict[str, JobRun]:
        """Each job's last run, and when it is due again."""
        with self._lock:
            kept = {name: one for (of, name), one in self._kept.items() if of == vehicle}
            return {
                name: one.last.model_copy(update={"due": _due(one.job, self._clock())}) for name, one in kept.items()
            }

    def stop(self) -> None:
        """Start nothing more; does not wait for what runs."""
        if self._scheduler is not None:
            self._scheduler.shutdown(wait=False)
            self._scheduler = None


def _scheduler() -> Any:
    """One thread that waits and one that works; what is late is run once, however late."""
    from apscheduler.executors.pool import ThreadPoolExecutor
    from apscheduler.schedulers.background import BackgroundScheduler

    return BackgroundScheduler(
        timezone=UTC,
        executors={"default": ThreadPoolExecutor(1)},
        job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1},
    )


def trigger_of(job: Job) -> Any:
    """The cron trigger of a job."""
    from apscheduler.triggers.cron import CronTrigger

    return CronTrigger(**{"timezone": UTC, **job.cron})


def missed(job: Job, last: JobRun, now: datetime) -> bool:
    """Whether it was due between its last run and now; a job that never ran has missed nothing."""
    if last.at is None:
        return False
    after = EPOCH + timedelta(microseconds=last.at)
    due = trigger_of(job).get_next_fire_time(after, after)
    return due is not None and due <= now


def _due(job: Job, now: datetime) -> int | None:
    due = trigger_of(job).get_next_fire_time(None, now)
    return None if due is None else _us(due)


def last_run(station: Station, name: str) -> JobRun:
    """The job's last run, as the journal has it."""
    kept = station.do(lambda journal: journal.fact(f"job {name}"))
    return JobRun() if kept is None else JobRun.model_validate_json(kept)


def keep_run(station: Station, name: str, run: JobRun) -> None:
    """Write it down; while the journal cannot be written the health file alone knows."""
    try:
        station.do(lambda journal: journal.note_fact(f"job {name}", run.model_dump_json()))
    except KeyoffError:
        return
