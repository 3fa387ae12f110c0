"""The virtual logger, through a real pseudo-terminal and a real loopback socket, and its pace on a clock of its own."""

import os
import select
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.base.errors import SettingError
from monitor.simulate import run
from monitor.simulate.files import line
from monitor.simulate.live import Sent, serve
from monitor.simulate.wire import PtyWire, open_wire
from tests.cli.run import KEYOFF
from tests.simulate.conftest import Make

DEADLINE_S = 30.0  # far beyond what this takes; reached only when something hangs
SCENARIO = 'start = 2025-03-03T18:00:00+00:00\ndays = 0.02\n[logger]\nrate = "1 Hz"\n'
ROWS = 1728
HEAD = "time,volts,amps,celsius"


@contextmanager
def speaking(folder: Path, wire: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command at full speed in another process, and where it speaks."""
    (folder / "van.toml").write_text(SCENARIO, encoding="utf-8")
    words = [*KEYOFF, "simulate", "van.toml", "--live", wire, "--speed", "1e9"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder) as process:
        try:
            assert process.stdout is not None
            yield process, process.stdout.readline().removeprefix("Speaking on ").rstrip("\n")
        finally:
            process.kill()


def lines_from(descriptor: int, count: int) -> list[str]:
    """So many lines, or what came until the writer hung up or the deadline passed."""
    data, deadline = b"", time.monotonic() + DEADLINE_S
    while data.count(b"\n") < count and time.monotonic() < deadline:
        if select.select([descriptor], [], [], 0.5)[0]:
            try:
                more = os.read(descriptor, 65536)
            except OSError:
                break
            if not more:
                break
            data += more
    return data.decode().splitlines()


def test_a_pseudo_terminal_speaks_every_row(tmp_path: Path) -> None:
    with speaking(tmp_path, "pty") as (process, name):
        port = os.open(name, os.O_RDWR | os.O_NOCTTY)
        seen = lines_from(port, ROWS + 1)
        assert process.wait(DEADLINE_S) == 0
        os.close(port)
        assert process.stdout is not None
        assert process.stdout.read() == f"{ROWS} samples sent, 0 lost because nobody read\n"
    assert seen[0] == HEAD
    assert len(seen) == ROWS + 1
    assert seen[1].startswith("2025-03-03T18:00:00Z,12.")


def test_a_loopback_socket_speaks_every_row(tmp_path: Path) -> None:
    with speaking(tmp_path, "tcp://127.0.0.1:0") as (process, name):
        port = int(name.rsplit(":", 1)[1])
        with socket.create_connection(("127.0.0.1", port), timeout=DEADLINE_S) as reader:
            seen = lines_from(reader.fileno(), ROWS + 1)
        assert process.wait(DEADLINE_S) == 0
    assert seen[0] == HEAD
    assert len(seen) == ROWS + 1
    assert seen[-1].startswith("2025-03-03T18:28:47Z,")


class Clock:
    """A clock that moves only when somebody rests."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now

    def rest(self, seconds: float) -> None:
        self.now += seconds


class FakeWire:
    """Keeps what was sent and when; readers are there in the given spans of the clock."""

    name = "nowhere"

    def __init__(self, clock: Clock, spans: list[tuple[float, float]]) -> None:
        self.clock, self.spans = clock, spans
        self.sent: list[tuple[float, bytes]] = []
        self.readers, self.closed = 0, False
        self._span: tuple[float, float] | None = None

    def listening(self) -> bool:
        here = next((span for span in self.spans if span[0] <= self.clock.now < span[1]), None)
        self.readers += here is not None and here is not self._span
        self._span = here
        return here is not None

    def send(self, data: bytes) -> bool:
        self.sent.append((self.clock.now, data))
        return True

    def close(self) -> None:
        self.closed = True


def speak(make: Make, spans: list[tuple[float, float]], speed: float) -> tuple[FakeWire, Sent]:
    clock = Clock()
    wire = FakeWire(clock, spans)
    done = run(make(days=100.5 / 86400, trips=[]))  # 101 samples at 1 Hz
    sent = serve(done, wire, speed, wait_s=5.0, clock=clock, rest=clock.rest)
    return wire, sent


@pytest.mark.parametrize("speed", [1.0, 4.0, 0.5])
def test_each_row_is_spoken_when_it_falls_due(make: Make, speed: float) -> None:
    wire, sent = speak(make, [(100.0, 1e9)], speed)
    assert sent == Sent(101, 0)
    assert [at for at, _ in wire.sent] == pytest.approx([100.0 + k / speed for k in range(101)])
    assert wire.sent[0][1].startswith(HEAD.encode() + b"\n2025-")
    assert wire.closed


def test_rows_due_while_nobody_reads_are_lost_and_a_new_reader_gets_the_header(make: Make) -> None:
    wire, sent = speak(make, [(100.0, 130.5), (150.5, 1e9)], 1.0)
    assert sent == Sent(31 + 50, 20)
    heads = [at for at, data in wire.sent if data.startswith(HEAD.encode())]
    assert heads == pytest.approx([100.0, 151.0])


def test_rows_faster_than_the_clock_go_in_bundles_and_none_is_lost(make: Make) -> None:
    wire, sent = speak(make, [(100.0, 1e9)], 1e6)
    assert sent == Sent(101, 0)
    assert len(wire.sent) == 1


def test_it_waits_for_a_reader_for_a_bounded_time(make: Make) -> None:
    with pytest.raises(SettingError, match="nobody opened nowhere within 5 s"):
        speak(make, [(106.0, 1e9)], 1.0)
    assert speak(make, [(104.0, 1e9)], 1.0)[1] == Sent(101, 0)


def test_the_first_row_can_be_moved_to_now(make: Make) -> None:
    clock = Clock()
    wire = FakeWire(clock, [(0.0, 1e9)])
    serve(run(make(days=10 / 86400, trips=[])), wire, starts_us=0, clock=clock, rest=clock.rest)
    assert wire.sent[0][1].splitlines()[1].startswith(b"1970-01-01T00:00:00Z,")


def test_a_reader_that_hangs_up_is_noticed(make: Make) -> None:
    wire = PtyWire(ready_s=0.0)
    assert not wire.listening()
    port = os.open(wire.name, os.O_RDWR | os.O_NOCTTY)
    assert wire.listening()
    assert wire.send(b"x\n")
    os.close(port)
    assert not wire.listening()
    assert wire.readers == 1
    wire.close()


def test_a_reader_that_empties_the_port_as_it_opens_it_misses_nothing(make: Make) -> None:
    wire = PtyWire(ready_s=3600.0)
    port = os.open(wire.name, os.O_RDWR | os.O_NOCTTY)
    assert not wire.listening()  # nothing is sent before the reader has had its time
    os.close(port)
    wire.close()


def test_a_line_is_what_a_file_holds(make: Make) -> None:
    block = next(run(make(days=0.001, logger={"amps_resolution": 0.001, "volts_resolution": 0.001})).blocks())
    assert line(block, 0).count(",") == 3


@pytest.mark.parametrize(
    ("target", "says"),
    [
        ("tcp://192.0.2.1:5000", "to this computer only"),
        ("tcp://0.0.0.0:5000", "to this computer only"),
        ("tcp://127.0.0.1", "expected tcp://127.0.0.1:PORT"),
        ("tcp://127.0.0.1:99999", "out of range"),
        ("udp://127.0.0.1:5000", "expected tcp://127.0.0.1:PORT"),
        ("/nonexistent/port", "cannot be opened"),
        ("/dev/null", "not a serial port"),
    ],
)
def test_a_wire_that_cannot_be_is_refused(target: str, says: str) -> None:
    with pytest.raises(SettingError, match=says):
        open_wire(target)


def test_a_taken_port_is_refused() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(SettingError, match="in use"):
        open_wire(f"tcp://127.0.0.1:{taken.getsockname()[1]}")
