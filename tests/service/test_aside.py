"""Work in a process of its own: its result, its errors as they were, its death; and that it says nothing elsewhere."""

import os
import threading
import time
from collections.abc import Callable
from datetime import UTC
from pathlib import Path

import pytest

from monitor.assess import assess
from monitor.base.errors import SettingError, StoreError
from monitor.base.results import Result
from monitor.base.tables.notices import NoticesTable
from monitor.base.vehicle import Vehicle
from monitor.service import aside
from monitor.service.destinations import send_aside
from monitor.service.documents import assess_aside, last_days
from monitor.service.outbox import OutboxWorker
from monitor.service.station import Station
from monitor.store.home import Home
from tests.service.fakes import RULES, bench
from tests.service.post_office import Listener, Outbox, letter

DEADLINE_S = 60.0  # far beyond what a start of a process takes; reached only when something hangs


def until(true: Callable[[], bool], what: str) -> None:
    end = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end, f"waited in vain for: {what}"
        threading.Event().wait(0.01)


def test_the_result_comes_back() -> None:
    assert aside.call("monitor.store.archive:day_name", 1, timeout_s=DEADLINE_S) == "1970-01-02"


def test_an_error_comes_back_as_it_was(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no journal there") as told:
        aside.call("monitor.store.upkeep:archived", Home(tmp_path), 1, timeout_s=DEADLINE_S)
    assert told.value.kind == "missing"
    assert "name the data folder" in told.value.remedy
    with pytest.raises(SettingError, match="NOWHERE: no such variable"):
        aside.call("monitor.base.secrets:reveal", "env:NOWHERE", timeout_s=DEADLINE_S)


def test_another_fault_is_told_by_its_kind_alone(capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(StoreError, match=r"store\.archive:day_name broke off: TypeError, a fault") as told:
        aside.call("monitor.store.archive:day_name", "token-secret", timeout_s=DEADLINE_S)
    assert "token-secret" not in f"{told.value!r} {told.value.remedy} {capfd.readouterr()}"


def test_only_functions_of_ours_are_called() -> None:
    with pytest.raises(ValueError, match="only functions of ours"):
        aside.call("os:getpid", timeout_s=DEADLINE_S)


def test_one_that_takes_too_long_is_killed() -> None:
    with Listener(answer="wait") as silent, pytest.MonkeyPatch.context() as environment:
        environment.setenv("SILENT", silent.url())
        with pytest.raises(StoreError, match="took longer than 0"):
            aside.call("monitor.service.destinations:send", "env:SILENT", "s", "t", timeout_s=0.01)
    assert not aside._running


def test_the_end_of_the_service_kills_what_is_at_work() -> None:
    told: list[object] = []
    with Listener(answer="wait") as silent, pytest.MonkeyPatch.context() as environment:
        environment.setenv("SILENT", silent.url())
        sending = threading.Thread(target=lambda: told.append(send_aside("env:SILENT", "s", "t")))
        sending.start()
        until(lambda: len(silent.got) == 1, "the notice to be under way")
        (process,) = aside._running
        aside.end()
        sending.join(DEADLINE_S)
        assert process.returncode == -9
    (outcome,) = told
    assert (outcome.fate, outcome.why) == (  # type: ignore[attr-defined]  # an Outcome
        "unsure",
        "the process of its own for service.destinations:send ended with -9",
    )


def test_a_signal_to_every_process_of_the_service_does_not_end_the_work() -> None:
    with Listener(answer="wait") as slow, pytest.MonkeyPatch.context() as environment:
        environment.setenv("SLOW", slow.url())
        told: list[object] = []
        sending = threading.Thread(target=lambda: told.append(send_aside("env:SLOW", "s", "t").fate))
        sending.start()
        until(lambda: len(slow.got) == 1, "the notice to be under way")
        (process,) = aside._running
        os.kill(process.pid, 15)
        slow.stop()
        sending.join(DEADLINE_S)
        assert process.returncode == 0
    assert told == ["sent"]


def test_a_notice_goes_out_from_a_process_of_its_own_and_no_secret_is_on_its_command_line(tmp_path: Path) -> None:
    outbox = Outbox()
    outbox.put(letter("a", to="d0"))
    with Listener(answer="wait") as hook:
        (tmp_path / "address").write_text(hook.url("?-token=token-secret"), encoding="utf-8")
        table = NoticesTable.model_validate({"destinations": [{"to": f"file:{tmp_path}/address", "name": "d0"}]})
        worker = OutboxWorker(table, UTC, reader=outbox.reader, post=outbox.post, clock=lambda: time.time_ns() // 1000)
        worker.start()
        until(lambda: len(hook.got) == 1, "the notice to be under way")
        (process,) = aside._running
        shown = Path(f"/proc/{process.pid}/cmdline").read_bytes()
        hook.stop()
        until(lambda: outbox.states() == {"a": "sent"}, "delivery")
        worker.stop()
    assert b"monitor.service.aside" in shown
    assert b"token-secret" not in shown
    assert b"text of a" not in shown


def test_an_assessment_aside_says_what_one_here_says() -> None:
    found = Result(vehicle="van")
    assert assess_aside(found, Vehicle(), UTC).model_dump_json() == assess(found, Vehicle(), UTC).model_dump_json()


def test_the_document_is_assessed_outside_the_keepers_step_with_the_vehicles_zone(tmp_path: Path) -> None:
    made = bench(tmp_path)
    vehicle = Vehicle.model_validate({"log": {"time": {"zone": "Europe/Oslo"}}})
    station = Station(vehicle, None, made.home, made.keeper, RULES)
    asked: list[object] = []

    def assessed(result: Result, vehicle: Vehicle, zone: object) -> Result:
        asked.extend((vehicle.log.time.zone, str(zone)))
        return result.model_copy(update={"vehicle": "assessed"})

    assert last_days(station, assessed).vehicle == "assessed"
    assert asked == ["Europe/Oslo", "Europe/Oslo"]
    made.journal.close()
