"""Clocks that are wrong, are set while the service runs, or change for the summer: data time goes on, and it is said.

The logger here has no clock of its own, so that this computer's gives the samples their times.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.base.orders import Order
from monitor.base.vehicle import LogSettings
from monitor.limits.watch import Watch
from monitor.service.clock import WRITTEN_US, ClockWatch
from monitor.service.guard import Guard
from monitor.service.jobs import trigger_of
from monitor.service.keeper import Keeper
from monitor.service.reader import Reader
from monitor.service.routine import routine
from monitor.service.station import CLOCK_WAIT_S, Station
from monitor.sources.live.arrival import Arrival
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.dialect import Dialect
from monitor.sources.live.feed import Feed
from monitor.sources.live.lines import Line
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.faults.test_live_equals_replay import VEHICLE
from tests.service.fakes import RULES, FakeClock, FakeTroubles, plan

HOUR_US = 3_600_000_000
SECOND_US = 1_000_000
SET_US = WRITTEN_US + 1000 * HOUR_US  # a time that a right clock may show


@dataclass
class Logger:
    """Says volts, and no time, once at each poll."""

    clock: FakeClock
    name: str = "bare logger"
    head: bool = field(default=False)

    def __post_init__(self) -> None:
        self.stamps = ArrivalClock(None, self.clock, lambda: self.clock.wall_us / 1e6)
        self.dialect = Dialect("bare logger", LogSettings(), 12.0)

    def poll(self, timeout_s: float) -> Arrival:
        texts = [b"12.5\n"] if self.head else [b"volts\n", b"12.5\n"]
        self.head = True
        times = self.stamps.spread(len(texts))
        self.dialect.push([Line(text, at) for text, at in zip(texts, times, strict=True)])
        heard = self.dialect.heard()
        return Arrival(
            heard.raw, heard.rows, "speaking", stamped=self.dialect.stamped, clock_steps=self.stamps.take_steps()
        )

    def close(self) -> None:
        return


@dataclass
class Site:
    """A station without threads, on a clock that can be set."""

    station: Station
    clock: FakeClock
    reader: Reader

    def go(self, seconds: int) -> None:
        for _ in range(seconds):
            self.clock.go(1.0)
            self.reader.put(self.reader.logger.poll(0.0))
            self.station.look()
            self.station.keeper.step()

    def set_clock(self, wall_us: int) -> None:
        self.clock.wall_us = wall_us

    def times(self) -> list[int]:
        with JournalReader(self.station.home) as reader:
            return [int(t) for block in reader.blocks() if not isinstance(block, int) for t in block.t_us]


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return made(tmp_path, FakeClock(wall_us=SET_US))


def made(folder: Path, clock: FakeClock) -> Site:
    home = Home(folder / "van")
    journal = Journal(home)
    guard = Guard(
        lambda: Watch(VEHICLE, RULES, None), lambda kept: Watch.restore(VEHICLE, RULES, None, kept), journal.resume
    )
    resume = journal.resume()
    reader = Reader(Logger(clock), clock)
    feed = Feed(12.0, ledger=resume.ledger, last_us=resume.last_us)
    keeper = Keeper("van", home, journal, guard, feed, reader, plan, FakeTroubles(), clock, clock.wall)
    home.inbox.mkdir(parents=True, exist_ok=True)
    station = Station(VEHICLE, None, home, keeper, RULES)
    keeper.held = station.waits_for_clock
    keeper.start()
    return Site(station, clock, reader)


@pytest.mark.parametrize("step_us", [5 * HOUR_US, -5 * HOUR_US, 90 * SECOND_US, -90 * SECOND_US])
def test_a_step_of_the_clock_neither_stops_nor_turns_back_data_time_and_is_recorded(site: Site, step_us: int) -> None:
    site.go(30)
    site.set_clock(site.clock.wall_us + step_us)
    site.go(30)
    times = site.times()
    assert np.all(np.diff(times) > 0)
    assert len(times) >= 55
    (step,) = site.station.keeper.feed.ledger.clock_steps
    assert step[1] == pytest.approx(step_us / 1e6, abs=1.0)
    with JournalReader(site.station.home) as reader:
        assert reader.books().clock_steps == [step]


def test_a_clock_that_is_smeared_by_a_leap_second_has_no_step(site: Site) -> None:
    for _ in range(100):
        site.go(1)
        site.clock.wall_us += 10_000  # a thousand times faster than any smear
    assert site.station.keeper.feed.ledger.clock_steps == []
    assert np.all(np.diff(site.times()) > 0)


def test_samples_before_the_clock_was_set_wait_and_get_their_right_times(tmp_path: Path) -> None:
    site = made(tmp_path, FakeClock(wall_us=86_400 * SECOND_US))  # a day after 1970: no battery clock
    site.go(120)
    assert site.times() == []
    assert "before this program was written" in site.station.health().clock_why
    site.set_clock(SET_US)
    site.go(70)
    times = site.times()
    assert len(times) >= 185
    assert np.all(np.diff(times) > 0)
    assert SET_US - 125 * SECOND_US < times[0] < SET_US - 115 * SECOND_US
    assert site.station.health().clock_why == ""


def test_the_wait_for_a_clock_ends(tmp_path: Path) -> None:
    site = made(tmp_path, FakeClock(wall_us=86_400 * SECOND_US))
    site.go(int(CLOCK_WAIT_S) + 5)
    assert len(site.times()) >= CLOCK_WAIT_S - 2
    site.go(65)
    with JournalReader(site.station.home) as reader:
        told = [kept.order.value for kept in reader.orders() if kept.order.quantity == "clock_unset"]
    assert told[0] is not None
    assert told[0] > CLOCK_WAIT_S - 70


def test_an_order_on_a_logger_with_another_clock_is_journalled_at_the_loggers_time(tmp_path: Path) -> None:
    site = made(tmp_path, FakeClock(wall_us=SET_US))
    site.go(30)
    site.set_clock(SET_US - 50 * HOUR_US)  # set back: data time goes on where it was
    site.go(5)
    keeper = site.station.keeper
    keeper.give(Order(id="1", at=site.clock.wall_us, kind="unhush"))
    site.go(3)
    with JournalReader(site.station.home) as reader:
        (given,) = [kept.order for kept in reader.orders() if kept.order.kind == "unhush"]
    assert keeper.last_us is not None
    assert abs(given.at - keeper.last_us) < 5 * SECOND_US


@pytest.mark.parametrize("night", [datetime(2027, 3, 28, tzinfo=UTC), datetime(2027, 10, 31, tzinfo=UTC)])
def test_a_night_in_which_the_clocks_change_has_each_job_once(night: datetime) -> None:
    for job in routine(VEHICLE, ZoneInfo("Europe/Oslo")):
        if "hour" in job.cron:
            due = trigger_of(job).get_next_fire_time(None, night)
            again = trigger_of(job).get_next_fire_time(due, due)
            assert (again.astimezone(UTC) - due.astimezone(UTC)).total_seconds() % 86_400 == 0


def test_steps_are_shown_in_the_health_file(site: Site) -> None:
    watch = ClockWatch(site.clock.wall, lambda: int(site.clock.s * 1e9))
    site.station.clock_watch = watch
    watch.look()
    site.set_clock(site.clock.wall_us + HOUR_US)
    watch.look()
    assert [step.seconds for step in site.station.health().clock_steps] == [3600.0]
