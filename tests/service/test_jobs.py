"""Jobs by the wall clock: at their time, kept in the journal, a missed one once, a failing one told."""

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.base.errors import StoreError
from monitor.base.fields import EPOCH
from monitor.base.health import JobRun
from monitor.base.vehicle import Vehicle
from monitor.service.jobs import Job, Jobs, last_run, missed
from monitor.store.home import Home
from monitor.store.journal import Journal
from tests.service.service_run import until

DEADLINE_S = 20.0
NIGHTLY = {"hour": 3, "minute": 10}
NOON = datetime(2025, 5, 3, 12, tzinfo=UTC)


class Place:
    """A station without threads."""

    def __init__(self, folder: Path) -> None:
        self.vehicle, self.home = Vehicle(name="van"), Home(folder / "van")
        self.journal = Journal(self.home)

    def now_us(self) -> int:
        return 0

    def do(self, work: Callable[[Journal], Any]) -> Any:
        return work(self.journal)

    post = document = None


def made(place: Place, job: Job, now: datetime = NOON) -> Jobs:
    jobs = Jobs(lambda: now)
    jobs.add(place, [job])  # type: ignore[arg-type]  # it has what these jobs use
    return jobs


def test_what_came_of_a_job_is_kept_over_a_restart(tmp_path: Path) -> None:
    place = Place(tmp_path)
    job = Job("roll-over", NIGHTLY, lambda station: "archived 2025-05-02")
    made(place, job).run("van", "roll-over")
    place.journal.close()
    run = made(Place(tmp_path), job).runs("van")["roll-over"]
    assert (run.outcome, run.text) == ("done", "archived 2025-05-02")
    assert run.at is not None
    assert run.due is not None
    assert EPOCH + timedelta(microseconds=run.at) == NOON
    assert EPOCH + timedelta(microseconds=run.due) == datetime(2025, 5, 4, 3, 10, tzinfo=UTC)


@pytest.mark.parametrize(
    ("away", "is_missed"),
    [(timedelta(hours=15), False), (timedelta(hours=16), True), (timedelta(days=40), True)],
)
def test_a_job_that_was_due_while_the_service_was_away_is_missed(away: timedelta, is_missed: bool) -> None:
    run = JobRun(at=(NOON - EPOCH) // timedelta(microseconds=1))
    assert missed(Job("roll-over", NIGHTLY, str), run, NOON + away) is is_missed


def test_a_job_that_never_ran_has_missed_nothing() -> None:
    assert not missed(Job("roll-over", NIGHTLY, str), JobRun(), NOON)


def test_a_missed_job_runs_once_after_a_start_however_often_it_was_missed(tmp_path: Path) -> None:
    place, ran, counted = Place(tmp_path), threading.Event(), []

    def run(station: object) -> str:
        counted.append(1)
        ran.set()
        return "caught up"

    job = Job("roll-over", NIGHTLY, run)
    made(place, job, NOON - timedelta(days=9)).run("van", "roll-over")
    counted.clear()
    ran.clear()
    jobs = made(place, job, NOON)
    jobs.start()
    assert ran.wait(DEADLINE_S)
    until("its outcome", lambda: jobs.runs("van")["roll-over"].text == "caught up" and not jobs.busy)
    jobs.stop()
    assert counted == [1]


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        (StoreError("disk is full", "make room", "disk_full"), "disk is full; make room"),
        (ZeroDivisionError("odd"), "a fault of the program: ZeroDivisionError('odd')"),
    ],
)
def test_a_job_that_fails_is_told_and_kept(
    tmp_path: Path, fault: Exception, says: str, caplog: pytest.LogCaptureFixture
) -> None:
    place = Place(tmp_path)

    def run(station: object) -> str:
        raise fault

    made(place, Job("retention", NIGHTLY, run)).run("van", "retention")
    assert f"van: retention failed: {says}" in caplog.text
    kept = last_run(place, "retention")  # type: ignore[arg-type]  # it has what this uses
    assert (kept.outcome, kept.text) == ("failed", says)


def test_a_stop_does_not_wait_for_a_job_that_runs(tmp_path: Path) -> None:
    place, begun, release = Place(tmp_path), threading.Event(), threading.Event()

    def run(station: object) -> str:
        begun.set()
        release.wait(DEADLINE_S)
        return "done at last"

    jobs = made(place, Job("long", {"second": "*"}, run), datetime.now(UTC))
    jobs.start()
    assert begun.wait(DEADLINE_S)
    jobs.stop()
    assert jobs.busy == "long"
    release.set()
