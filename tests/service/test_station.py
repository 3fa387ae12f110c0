"""A station's threads: one that dies is told and started again; the watchdog hears of those that make progress."""

import threading
from pathlib import Path

import pytest

from monitor.service.jobs import Jobs
from monitor.service.keeper import Keeper
from monitor.service.reader import Reader
from monitor.service.service import Service
from monitor.service.station import Station
from monitor.service.systemd import Manager
from monitor.sources.live.arrival import Arrival
from tests.faults.test_live_equals_replay import VEHICLE
from tests.service.fakes import RULES, Bench, FakeLogger, bench
from tests.service.service_run import until


class Deaf(FakeLogger):
    """A logger that breaks its promise twice, and then keeps it."""

    def __init__(self) -> None:
        super().__init__()
        self.polled = 0
        self.spoke = threading.Event()

    def poll(self, timeout_s: float) -> Arrival:
        self.polled += 1
        if self.polled == 1:
            raise ZeroDivisionError("deaf on purpose")
        self.spoke.set()
        return Arrival(b"", None, "speaking")


def station(made: Bench, reader: Reader | None = None) -> Station:
    keeper: Keeper = made.keeper
    if reader is not None:
        keeper.reader = reader
    return Station(VEHICLE, None, made.home, keeper, RULES)


def test_a_reader_that_dies_is_told_counted_and_started_again(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    made, logger = bench(tmp_path), Deaf()
    watched = station(made, Reader(logger))
    watched.start()
    assert logger.spoke.wait(60.0)
    until("the state of the new reader", lambda: made.keeper.reader.state == "speaking")
    assert watched.restarts == {"reader": 1}
    assert "the reader failed and starts again in 1 s" in caplog.text
    assert watched.stop(watched.keeper.clock() + 1e9)
    assert logger.closed


def test_a_keeper_that_makes_no_progress_is_not_alive(tmp_path: Path) -> None:
    made = bench(tmp_path)
    watched = station(made)
    made.step()
    assert watched.alive(30.0)
    made.clock.go(31.0)
    assert not watched.alive(30.0)


def test_the_watchdog_is_not_fed_while_a_keeper_makes_no_progress(tmp_path: Path) -> None:
    made, told = bench(tmp_path), list[dict[str, object]]()

    class Heard(Manager):
        def say(self, **facts: str | int) -> None:
            told.append(facts)

    service = Service([station(made)], Jobs(), Heard({"WATCHDOG_USEC": "1000"}))
    made.step()
    service.tick()
    assert [fact.get("WATCHDOG") for fact in told] == [1]
    made.clock.go(31.0)
    service.tick()
    assert len(told) == 1


def test_a_link_trouble_reaches_the_notices_and_ends_when_the_logger_speaks(tmp_path: Path) -> None:
    made = bench(tmp_path)
    watched = station(made)
    for state, standing in (("unplugged", ["unplugged"]), ("opening", ["unplugged"]), ("speaking", [])):
        made.reader.put(Arrival(b"", None, state, f"it is {state}"))  # type: ignore[arg-type]  # a word of the tests
        watched.look()
        assert list(made.troubles.now) == standing


def test_what_is_unplugged_while_hushed_is_nobodys_trouble(tmp_path: Path) -> None:
    made = bench(tmp_path)
    watched = station(made)
    made.keeper.hushed_until = -1
    made.reader.put(Arrival(b"", None, "unplugged", "the cable"))
    watched.look()
    assert made.troubles.now == {}
    assert watched.health().link.state == "unplugged"
