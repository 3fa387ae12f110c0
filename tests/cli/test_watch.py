"""The commands of the service on data that is not there or not right, and what their text says, without a service."""

from pathlib import Path

import pytest

from monitor.base.alarms import Alarm
from monitor.base.health import Health, JobRun, Link
from monitor.service import health, inbox
from monitor.service.standing import STALE_US, problems
from monitor.store.home import Home
from monitor.store.journal import Journal
from tests.cli.inside import Run, inside

__all__ = ["inside"]  # a fixture

NOW_US = 1_800_000_000_000_000


def alarm(limit: str, **more: object) -> Alarm:
    facts: dict[str, object] = {
        "limit": limit, "quantity": "sleep_current", "value": 0.42, "worst": 0.51, "unit": "A", "side": "high",
        "setpoint": 0.08, "priority": "medium", "since": NOW_US, "raised": NOW_US, "state": "unacknowledged",
        "cause": "something stays on", "response": "survey the fuses",
    }  # fmt: skip
    return Alarm.model_validate(facts | more)


def well(**more: object) -> Health:
    facts: dict[str, object] = {
        "vehicle": "van, white", "pid": 7, "version": "0", "started": NOW_US, "written": NOW_US,
        "link": Link(logger="ttyUSB0", state="speaking", since=NOW_US), "last_sample": NOW_US, "rate_hz": 10.0,
    }  # fmt: skip
    return Health.model_validate(facts | more)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """The data of one vehicle whose service ran once."""
    home = Home(tmp_path / "van-white")
    Journal(home).close()
    health.write(
        home.health, well(alarms=[alarm("sleep-current"), alarm("awake", state="acknowledged", acknowledged=1)])
    )
    return tmp_path


def test_all_is_well_when_nothing_is_wrong() -> None:
    assert problems(well(), NOW_US) == []


@pytest.mark.parametrize(
    ("ill", "says"),
    [
        (well(written=NOW_US - STALE_US - 1_000_000), "has not said how it is for 31 s"),
        (
            well(link=Link(logger="ttyUSB0", state="unplugged", why="the cable", since=0)),
            "logger: unplugged: the cable",
        ),
        (well(alarms=[alarm("awake")]), "alarm: awake, not acknowledged"),
        (well(watch="off", watch_why="ZeroDivisionError: odd"), "the watch is off after a fault: ZeroDivisionError"),
        (well(waiting_bytes=1600), "1,600 bytes of samples wait for the disk"),
        (well(clock_why="the clock is before the last sample"), "the clock is before the last sample"),
        (well(parts={"database": {"state": "refused", "last_error": "no such token"}}), "database: refused: no such"),
        (well(parts={"notices": [{"to": "phone", "trouble": "gone", "failures": 5}]}), "notices to phone: gone"),
        (well(jobs={"integrity": JobRun(at=0, outcome="failed", text="damaged")}), "job integrity: damaged"),
    ],
)
def test_what_needs_a_person_is_told(ill: Health, says: str) -> None:
    (told,) = problems(ill, NOW_US)
    assert says in told


def test_status_of_a_service_that_ended_shows_what_it_last_did(inside: Run, data: Path) -> None:
    done = inside("status", "--data", data)
    assert done.returncode == 3
    assert done.stdout.startswith("van, white\nThe service does not run.\n")
    assert "ttyUSB0: speaking" in done.stdout
    assert "2 alarms standing" in done.stdout


def test_alarms_are_numbered_with_what_to_do(inside: Run, data: Path) -> None:
    done = inside("alarms", "--data", data)
    assert done.returncode == 1
    assert "[1] sleep-current, medium: not acknowledged" in done.stdout
    assert "Sleep current 420 mA, above 80 mA; the worst so far 510 mA." in done.stdout
    assert "What to do: Survey the fuses." in done.stdout
    assert "[2] awake, medium: acknowledged, still so" in done.stdout


def test_an_order_without_a_service_waits_for_it(inside: Run, data: Path) -> None:
    done = inside("alarms", "acknowledge", "1", "--data", data)
    assert done.returncode == 3
    ((_, order),) = inbox.waiting(Home(data / "van-white"))
    assert not isinstance(order, str)
    assert (order.kind, order.limit) == ("acknowledge", "sleep-current")


def test_all_means_those_that_are_not_acknowledged_yet(inside: Run, data: Path) -> None:
    inside("alarms", "acknowledge", "all", "--data", data)
    assert len(inbox.waiting(Home(data / "van-white"))) == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["alarms", "acknowledge"], "expected a limit's name, its number in the list, or all"),
        (["alarms", "acknowledge", "3"], "3: no such alarm stands"),
        (["alarms", "acknowledge", "0"], "0: no such alarm stands"),
        (["alarms", "shelve", "1"], "shelve needs it"),
        (["alarms", "acknowledge", "1", "--for", "8h"], "--for belongs to shelve"),
        (["alarms", "shelve", "1", "--for", "8"], "its unit is missing"),
        (["alarms", "shelve", "1", "--for", "800 d"], "at most 30 days"),
        (["hush"], "expected how long, or --off"),
        (["hush", "2h", "--off"], "expected how long, or --off"),
        (["hush", "2 V"], 'hush "2 V"'),
        (["mark", "x", "--kind", "fuse_uot"], "expected one of fuse out"),
        (["mark", "x", "--at", "yesterday"], "expected an ISO 8601 time"),
        (["mark", "x", "--at", "2999-01-01"], "in the future"),
        (["mark", "x", "--name", "lorry"], 'no vehicle "lorry"'),
    ],
)
def test_what_cannot_be_ordered_is_refused_and_nothing_waits(
    inside: Run, data: Path, words: list[str], says: str
) -> None:
    done = inside(*words, "--data", data)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert inbox.waiting(Home(data / "van-white")) == []


def test_with_several_vehicles_an_order_says_for_which(inside: Run, data: Path) -> None:
    Journal(Home(data / "estate")).close()
    done = inside("hush", "2h", "--data", data)
    assert done.returncode == 2
    assert "several vehicles are watched here: estate, van-white" in done.stderr
    assert inside("hush", "2h", "--name", "estate", "--data", data).returncode == 3
    assert len(inbox.waiting(Home(data / "estate"))) == 1
