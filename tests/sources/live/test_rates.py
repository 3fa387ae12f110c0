"""From a line in five seconds to two thousand a second: every line is a sample, whatever it is cut into."""

import threading
from bisect import bisect_right
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.simulate import Scenario, run
from monitor.simulate.live import serve
from monitor.simulate.wire import PtyWire, TcpWire
from monitor.sources.live import Feed, open_live
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.stream import Habits, Seams, StreamLogger
from tests.sources.live.conftest import Clock, Said, car, feed, until
from tests.sources.live.wires import HEAD, plugged


def lines_at(rate_hz: float, count: int) -> list[bytes]:
    return [b"%.4f,12.%03d,-0.021\n" % (1_750_000_000 + i / rate_hz, i % 1000) for i in range(count)]


class Paced:
    """A transport on which lines come when they fall due, and are collected for 20 ms as those of a port are."""

    old = False

    def __init__(self, clock: Clock, rate_hz: float, lines: list[bytes]) -> None:
        self.clock, self.lines, self.sent = clock, lines, 0
        self.due = [clock.now + i / rate_hz for i in range(len(lines))]

    def connect(self) -> "Paced":
        return self

    def read(self, timeout_s: float) -> bytes:
        if self.sent == len(self.lines) or self.due[self.sent] > self.clock.now + timeout_s:
            self.clock.rest(timeout_s)
            return b""
        self.clock.rest(max(0.0, self.due[self.sent] - self.clock.now) + 0.02)
        first, self.sent = self.sent, bisect_right(self.due, self.clock.now)
        return b"".join(self.lines[first : self.sent])

    def close(self) -> None:
        pass


@pytest.mark.parametrize(("rate_hz", "count"), [(0.2, 40), (1.0, 60), (10.0, 400), (100.0, 2000), (2000.0, 8000)])
def test_no_line_is_lost_at_any_rate_and_none_waits_longer_than_a_moment(rate_hz: float, count: int) -> None:
    clock = Clock()
    port = Paced(clock, rate_hz, [HEAD + lines_at(rate_hz, 1)[0], *lines_at(rate_hz, count)[1:]])
    times = ArrivalClock(None, clock, clock.wall)
    seams = Seams(clock, clock.rest)
    logger = StreamLogger("a logger", port.connect, Habits(), car().log, 12.0, 120.0, times, seams)
    into = Feed()
    waited: list[float] = []
    while len(waited) < count and clock.now < port.due[-1] + 10.0:
        for block in into.push(logger.poll(0.25), clock.now):
            waited += [clock.now - port.due[len(waited) + i] for i in range(len(block))]
    assert len(waited) == count
    assert not into.ledger.refused
    understood = int(3.0 * rate_hz) + 1  # rows of the first seconds wait until the columns are known
    ended = count - int(0.2 * rate_hz) - 1
    # 0.2 s for late rows; then a row of 10 Hz must come, or a poll of 0.25 s end, to release them; 20 ms to collect
    assert max(waited[understood:ended]) < 0.35
    assert max(waited[ended:]) < 0.5, "the last rows wait for late ones and for the end of a poll"


def test_two_thousand_lines_a_second_through_a_pty_without_loss(tmp_path: Path) -> None:
    """Twelve thousand lines, sent as fast as the terminal takes them."""
    with plugged(tmp_path) as plug:
        logger = open_live(f"serial:{plug.path}", car())
        said = Said([logger.poll(0.0)])
        lines = lines_at(2000.0, 12_000)
        sender = threading.Thread(target=plug.send, args=(HEAD + b"".join(lines),))
        sender.start()
        until(logger, lambda s: s.raw.count(b"\n") >= 12_000, "all lines", said)
        sender.join()
        logger.close()
    fed = feed(said.arrivals, Feed())
    assert len(fed.t_us) == 12_000
    assert not said.refused


SCENARIO = {"start": "2025-03-03T18:00:00+00:00", "days": 0.002, "logger": {"rate": "10 Hz"}}


@pytest.mark.parametrize("wire", [lambda: PtyWire(0.0), lambda: TcpWire("127.0.0.1", 0)], ids=["pty", "tcp"])
def test_every_row_of_the_virtual_logger_is_heard(wire: Callable[[], PtyWire | TcpWire]) -> None:
    simulation = run(Scenario.model_validate(SCENARIO))
    expected = [int(t) for block in simulation.rows() for t in block.t_us]
    port = wire()
    url = f"serial:{port.name}" if isinstance(port, PtyWire) else port.name.replace("tcp", "socket")
    logger = open_live(url, car())
    server = threading.Thread(target=serve, args=(simulation, port, 1e9))
    server.start()
    said = until(logger, lambda s: len(s.t_us) >= len(expected), "every row")
    server.join()
    logger.close()
    assert said.t_us == expected
