"""Small parts of the service: its folders, the clock, what it observes, what it says to the service manager."""

import socket
from pathlib import Path

import numpy as np
import pytest

from monitor.base.errors import InputError, SettingError
from monitor.limits.rules import Rules
from monitor.service import health, inbox
from monitor.service.clock import WRITTEN_US, ClockWatch, unset
from monitor.service.hold import restamped
from monitor.service.observe import Observer
from monitor.service.place import data_folder, existing, folder_to_ask, homes, runs
from monitor.service.reader import Reader, Taken, weight
from monitor.service.silence import Silence
from monitor.service.systemd import Manager
from monitor.sources.live.arrival import Arrival
from monitor.store.home import Home
from monitor.store.journal import Journal
from tests.service.fakes import EPOCH_US, FakeClock, FakeLogger, arrival, limit, order

HOUR_US = 3_600_000_000


def test_a_named_folder_comes_before_the_service_managers_and_that_before_the_users(tmp_path: Path) -> None:
    environment = {"STATE_DIRECTORY": "/var/lib/keyoff", "XDG_STATE_HOME": "/home/a/.state", "HOME": "/home/a"}
    assert data_folder(tmp_path, environment) == tmp_path
    assert data_folder(None, environment) == Path("/var/lib/keyoff")
    assert data_folder(None, {"HOME": "/home/a"}) == Path("/home/a/.local/state/keyoff")
    assert data_folder(None, {"XDG_STATE_HOME": "relative", "HOME": "/home/a"}) == Path("/home/a/.local/state/keyoff")


def test_a_command_finds_the_system_services_data_when_there_is_none_of_its_own(tmp_path: Path) -> None:
    own, system = tmp_path / "own" / "keyoff", tmp_path / "system"
    environment = {"XDG_STATE_HOME": str(tmp_path / "own")}
    Journal(Home(system / "van")).close()
    assert folder_to_ask(None, environment, system) == system
    assert folder_to_ask(tmp_path, environment, system) == tmp_path
    Journal(Home(own / "van")).close()
    assert folder_to_ask(None, environment, system) == own


def test_two_vehicles_whose_folders_would_be_one_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match='"Van 1" and "van, 1" would share the folder van-1'):
        homes(tmp_path, ["Van 1", "van, 1"])
    assert [home.folder.name for home in homes(tmp_path, ["Van 1", "Van 2"])] == ["van-1", "van-2"]


def test_a_folder_without_data_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="no vehicle's data in") as told:
        existing(tmp_path / "nowhere", None)
    assert "--data" in told.value.remedy


def test_whether_a_service_runs_is_asked_of_the_lock(tmp_path: Path) -> None:
    home = Home(tmp_path / "van")
    assert not runs(home)
    journal = Journal(home)
    assert runs(home)
    journal.close()
    assert not runs(home)


def test_a_step_of_the_clock_is_seen_and_a_slow_change_is_none() -> None:
    clock = FakeClock()
    watch = ClockWatch(clock.wall, lambda: int(clock.s * 1e9))
    assert watch.look() is None
    for _ in range(86_400):  # a leap second smeared over a day: 1/86400 of each second
        clock.go(1.0)
        clock.wall_us += 12
        assert watch.look() is None
    clock.wall_us += 5 * HOUR_US
    step = watch.look()
    assert step is not None
    assert step.size_us == 5 * HOUR_US
    clock.wall_us -= HOUR_US
    assert watch.look() is not None
    assert [s.size_us for s in watch.steps] == [5 * HOUR_US, -HOUR_US]


@pytest.mark.parametrize(
    ("wall_us", "newest_us", "says"),
    [
        (0, None, "before this program was written"),
        (WRITTEN_US + HOUR_US, WRITTEN_US + 9 * HOUR_US, "before the last sample"),
        (WRITTEN_US + HOUR_US, WRITTEN_US, None),
        (WRITTEN_US + HOUR_US, None, None),
    ],
)
def test_a_clock_that_cannot_be_right_is_not_trusted(
    tmp_path: Path, wall_us: int, newest_us: int | None, says: str | None
) -> None:
    why = unset(wall_us, newest_us, tmp_path / "no time service")
    assert why == says if says is None else says in str(why)


def test_a_time_service_that_has_not_set_the_clock_yet_is_believed(tmp_path: Path) -> None:
    assert "has not set the clock yet" in str(unset(WRITTEN_US, None, tmp_path))
    (tmp_path / "synchronized").touch()
    assert unset(WRITTEN_US, None, tmp_path) is None


def test_held_arrivals_are_moved_by_the_steps_that_came_after_them() -> None:
    def stamped(first_us: int, steps: tuple[tuple[int, float], ...] = (), is_ours: bool = True) -> Taken:
        rows = arrival(first_us, count=2).rows
        return Taken(Arrival(b"", rows, "speaking", stamped=is_ours, clock_steps=steps), 0.0)

    year = 365 * 24 * HOUR_US
    held = [stamped(0), stamped(10, is_ours=False), stamped(year, ((year, year / 1e6),)), stamped(2 * year)]
    times = [int(one.arrival.rows.t_us[0]) for one in restamped(held) if one.arrival.rows is not None]
    assert times == [year, 10, year, 2 * year]


def test_an_observation_is_told_when_it_crosses_a_setpoint_however_little_it_moves() -> None:
    rules = Rules("plain", "", (limit(),))
    seen = Observer()
    told = [len(seen.orders({"volts": volts}, 0, rules)) for volts in (11.81, 11.80, 11.79, 11.78)]
    assert told == [1, 1, 1, 0]


def test_a_silence_is_told_by_the_minute_first_and_then_by_ten() -> None:
    quiet = Silence(last_us=0)
    quiet.spoke(0.0)
    told = [t for at in range(1, 3 * 3600) if (t := quiet.due(float(at))) is not None]
    minutes = [t // 60_000_000 for t in told]
    assert minutes[:59] == list(range(1, 60))
    assert np.diff(minutes[60:]).tolist() == [10] * (len(minutes) - 61)
    assert len(minutes) < 75


def test_a_silence_after_a_start_counts_from_the_start() -> None:
    quiet = Silence(last_us=0)
    assert [quiet.due(at) for at in (5000.0, 5061.0, 5075.0)] == [None, None, 60_000_000]


def test_the_service_manager_is_told_in_its_datagrams(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as wire:
        wire.bind(str(tmp_path / "notify"))
        wire.settimeout(10.0)
        manager = Manager({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "30000000"})
        manager.say(READY=1, STATUS="1 of 1 loggers speak")
        assert wire.recv(4096) == b"READY=1\nSTATUS=1 of 1 loggers speak"
        assert manager.watchdog_s == 30.0
    manager.say(WATCHDOG=1)  # nobody listens any more: no fault of ours
    Manager({}).say(READY=1)


def test_an_order_that_another_process_writes_is_there_whole_or_not_at_all(tmp_path: Path) -> None:
    home = Home(tmp_path)
    given = order("unhush")
    inbox.put(home, given)
    assert [found for _, found in inbox.waiting(home)] == [given]
    assert [path.name for path in home.inbox.iterdir()] == [f"{given.id}.order"]


def test_orders_come_out_in_the_order_they_were_given(tmp_path: Path) -> None:
    home = Home(tmp_path)
    for at in (EPOCH_US + 5, EPOCH_US, EPOCH_US + 3):
        inbox.put(home, order("unhush", at))
    assert [found.at - EPOCH_US for _, found in inbox.waiting(home)] == [0, 3, 5]  # type: ignore[union-attr]  # orders


def test_a_wait_for_an_answer_ends(tmp_path: Path) -> None:
    clock = FakeClock()
    assert inbox.await_answer(Home(tmp_path), order("unhush"), 5.0, clock, clock.go) is None
    assert clock.s == pytest.approx(1005.0, abs=0.1)


def test_answers_nobody_fetched_are_thrown_away(tmp_path: Path) -> None:
    home = Home(tmp_path)
    inbox.put(home, order("unhush"))
    ((file, _),) = inbox.waiting(home)
    inbox.settle(home, file, inbox.Answer(True, "done"))
    inbox.forget_answers(home, file.parent.stat().st_mtime + 10.0)
    assert len(list(home.inbox.iterdir())) == 1
    inbox.forget_answers(home, file.parent.stat().st_mtime + 4000.0)
    assert list(home.inbox.iterdir()) == []


def test_a_health_file_of_another_make_is_refused_plainly(tmp_path: Path) -> None:
    file = tmp_path / "health.json"
    assert health.read(file) is None
    file.write_text('{"vehicle": 5}')
    with pytest.raises(InputError, match="not a health file of this version"):
        health.read(file)


def test_the_reader_keeps_what_came_first_and_counts_what_has_no_room() -> None:
    reader = Reader(FakeLogger(), FakeClock(), most_bytes=2 * weight(arrival(0)))
    for k in range(5):
        reader.put(arrival(k * 1_000_000))
    taken, dropped = reader.take()
    assert [int(one.arrival.rows.t_us[0]) for one in taken if one.arrival.rows is not None] == [0, 1_000_000]
    assert dropped == 30
    assert reader.take() == ([], 0)
