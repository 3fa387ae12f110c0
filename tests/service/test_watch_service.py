"""The service as its user meets it: a real process, a growing log, signals, and the commands that talk to it."""

import json
import re
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.base.fields import iso
from monitor.store.reader import JournalReader
from tests.service.service_run import Running, service, until

VEHICLE = '[source]\nurl = "file:log.csv"\n[vehicle]\nrules = "rules.toml"\n'
RULES = """
[limits.over]
quantity = "volts"
high = "{high}"
deadband = "0.2 V"
on_delay = "1 s"
off_delay = "1 s"
priority = "high"
cause = "the regulator is stuck"
response = "stop the engine"
source = "our choice"
"""
NAMED = 'name = "van"\n'


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    (tmp_path / "van.toml").write_text(NAMED + VEHICLE)
    (tmp_path / "rules.toml").write_text(RULES.format(high="15 V"))
    (tmp_path / "log.csv").write_text("time,volts,amps\n")
    with service(tmp_path) as made:
        made.has("it runs", lambda health: True)
        yield made


def say(running: Running, *volts: float) -> None:
    """The logger says these, the newest now, a second apart."""
    now_us = time.time_ns() // 1000
    lines = [f"{iso(now_us - 1_000_000 * (len(volts) - k))},{v},-0.02\n" for k, v in enumerate(volts)]
    with (running.folder / "log.csv").open("a") as file:
        file.write("".join(lines))


def test_what_the_logger_says_is_journalled_and_the_end_comes_at_once(running: Running) -> None:
    say(running, *[12.5] * 30)
    running.has("30 samples", lambda health: health.samples == 30)
    running.end()
    assert running.log.read_text().splitlines()[-1].endswith("info stopped")
    with JournalReader(running.home) as reader:
        assert sum(len(block) for block in reader.blocks() if not isinstance(block, int)) == 30
        assert reader.books().samples == 30


def test_status_says_how_it_is_and_its_exit_code_whether_somebody_is_needed(running: Running) -> None:
    say(running, *[12.5] * 30)
    running.has("30 samples", lambda health: health.samples == 30)
    done = running.ask("status")
    assert (done.returncode, done.stderr) == (0, "")
    assert "All is well." in done.stdout
    assert "30 samples since midnight UTC" in " ".join(done.stdout.split())
    say(running, *[15.5] * 5, *[12.5] * 3)
    running.has("an alarm", lambda health: bool(health.alarms))
    done = running.ask("status", "van")
    assert done.returncode == 1
    assert "alarm: over, not acknowledged" in done.stdout
    assert json.loads(running.ask("status", "--json").stdout)["van"]["health"]["alarms"][0]["limit"] == "over"
    running.end()
    assert running.ask("status").returncode == 3
    assert "The service does not run." in running.ask("status").stdout


def test_an_alarm_is_listed_acknowledged_by_its_number_and_shelved(running: Running) -> None:
    assert running.ask("alarms").returncode == 0
    say(running, *[12.5] * 5, *[15.5] * 5)
    running.has("an alarm", lambda health: bool(health.alarms))
    listed = running.ask("alarms")
    assert listed.returncode == 1
    assert "[1] over, high: not acknowledged" in listed.stdout
    assert "What to do: Stop the engine." in listed.stdout
    assert running.ask("alarms", "acknowledge", "1").stdout == 'van: "over" acknowledged\n'
    running.has("the acknowledgement", lambda health: health.alarms[0].acknowledged is not None)
    assert running.ask("alarms").returncode == 0
    again = running.ask("alarms", "acknowledge", "all")
    assert (again.returncode, again.stderr.splitlines()[0]) == (2, "Error: all: no such alarm stands")
    refused = running.ask("alarms", "shelve", "ovre", "--for", "8h")
    assert refused.returncode == 1
    assert refused.stdout == 'van: refused: no limit "ovre" in the rules; did you mean "over"?\n'
    assert running.ask("alarms", "shelve", "over", "--for", "8h").returncode == 0


def test_a_mark_and_a_hush_are_carried_out_while_it_runs_and_wait_when_it_does_not(running: Running) -> None:
    say(running, *[12.5] * 5)
    running.has("samples", lambda health: health.samples == 5)
    assert running.ask("mark", "fuse 23 out", "--kind", "fuse_out").stdout == 'van: noted: "fuse 23 out"\n'
    assert running.ask("hush", "2h").stdout.startswith("van: hushed until ")
    running.has("the hush", lambda health: health.hushed_until is not None)
    assert running.ask("hush", "--off").stdout == "van: no longer hushed\n"
    running.end()
    waits = running.ask("mark", "fuse 23 in", "--kind", "fuse_in")
    assert waits.returncode == 3
    assert "the order waits for it" in waits.stdout
    with service(running.folder) as again:
        until("the mark that waited", lambda: not list(again.home.inbox.glob("*.order")))
        again.end()
    with JournalReader(running.home) as reader:
        marks = [kept.order.mark.text for kept in reader.orders() if kept.order.mark is not None]
    assert sorted(marks) == ["fuse 23 in", "fuse 23 out"]


def test_rules_are_read_again_at_a_signal_and_bad_ones_leave_the_good_ones(running: Running) -> None:
    say(running, *[12.5] * 5)
    running.has("samples", lambda health: health.samples == 5)
    (running.folder / "rules.toml").write_text(RULES.format(high="15"))
    running.process.send_signal(signal.SIGHUP)
    running.says("the rules in force stay")
    (line,) = [text for text in running.log.read_text().splitlines() if "the rules in force stay" in text]
    assert re.search(r"rules\.toml, line 4, .*its unit is missing", line)
    (running.folder / "rules.toml").write_text(RULES.format(high="12 V"))
    running.process.send_signal(signal.SIGHUP)
    running.says("van: rules read again")

    def raised() -> bool:
        say(running, 12.5)  # the new rules hold from now on: so must the samples be of now
        found = running.health()
        return found is not None and [alarm.setpoint for alarm in found.alarms] == [12.0]

    until("an alarm under the new rules", raised)


def test_a_logger_that_hangs_up_is_told_and_heard_again_when_it_comes_back(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as port:
        port.settimeout(60.0)
        url = f"socket://127.0.0.1:{port.getsockname()[1]}"
        (tmp_path / "van.toml").write_text(f'{NAMED}[source]\nurl = "{url}"\n[vehicle]\nrules = "rules.toml"\n')
        (tmp_path / "rules.toml").write_text(RULES.format(high="15 V"))
        with service(tmp_path) as running:
            for part in (1, 2):
                logger, _ = port.accept()
                lines = ["time,volts,amps\n", *(f"2027-05-03T12:0{part}:{k:02}Z,12.5,-0.02\n" for k in range(20))]
                logger.sendall("".join(lines).encode())
                running.has(f"20 samples of part {part}", lambda health, part=part: health.samples == 20 * part)
                logger.close()
                running.has("the link hung up", lambda health: health.link.state == "hung_up")
            running.says("speaks again (recovered")
            done = running.ask("status")
            running.end()
    assert done.returncode == 1
    assert "logger: hung up" in done.stdout


def test_a_second_service_for_the_same_data_is_refused(running: Running) -> None:
    with service(running.folder) as other:
        assert other.process.wait(60.0) == 2
    assert "already writes this vehicle's data" in running.log.read_text()


def test_the_service_manager_hears_ready_and_stopping(tmp_path: Path) -> None:
    (tmp_path / "van.toml").write_text(NAMED + VEHICLE)
    (tmp_path / "rules.toml").write_text(RULES.format(high="15 V"))
    (tmp_path / "log.csv").write_text("time,volts,amps\n")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as wire:
        wire.bind(str(tmp_path / "notify"))
        wire.settimeout(60.0)
        with service(tmp_path, NOTIFY_SOCKET=str(tmp_path / "notify"), WATCHDOG_USEC="3000000") as running:
            heard = [wire.recv(4096).decode() for _ in range(2)]
            running.process.terminate()
            while "STOPPING=1" not in heard[-1]:
                heard.append(wire.recv(4096).decode())
            running.process.wait(60.0)
    assert heard[0].startswith("READY=1\nSTATUS=")
    assert heard[1].startswith("WATCHDOG=1\n")


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({"van.toml": NAMED}, "nothing says where its logger is"),
        ({"van.toml": NAMED + VEHICLE}, "rules.toml: no such file"),
        ({"van.toml": NAMED + VEHICLE + 'colour = "blue"\n'}, "unknown key"),
        ({"van.toml": NAMED + '[source]\nurl = "nonsense:x"\n'}, "is not known"),
    ],
)
def test_a_vehicle_that_cannot_be_watched_is_refused_at_the_start(
    tmp_path: Path, files: dict[str, str], says: str
) -> None:
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    with service(tmp_path) as running:
        assert running.process.wait(60.0) == 2
        error, remedy = running.log.read_text().splitlines()
    assert error.startswith("Error: ")
    assert says in error
    assert remedy.startswith("Try: ")


def test_commands_without_any_data_say_what_to_do(tmp_path: Path) -> None:
    from tests.cli.run import keyoff

    for words in (["status"], ["alarms"], ["mark", "x"], ["hush", "2h"]):
        done = keyoff(*words, "--data", str(tmp_path))
        assert done.returncode == 2
        assert "no vehicle's data in" in done.stderr
