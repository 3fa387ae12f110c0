"""What a cable does in a workshop: pulled, plugged again, half lines, noise, silence, a wrong rate, on a real pty."""

import os
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.sources.live import LiveLogger, open_live
from monitor.sources.live.stream import Seams
from tests.faults.uart import at_another_rate
from tests.sources.live.conftest import Said, car, until, until_state
from tests.sources.live.wires import HEAD, START_US, Plug, plugged, rows


class Hurried:
    """A clock that runs `speed` times as fast for deadlines, so that minutes of silence take seconds."""

    def __init__(self, speed: float) -> None:
        self.speed = speed
        self._start = os.times().elapsed

    def __call__(self) -> float:
        return (os.times().elapsed - self._start) * self.speed


@pytest.fixture
def plug(tmp_path: Path) -> Iterator[Plug]:
    with plugged(tmp_path) as plug:
        yield plug


def logger_at(plug: Plug, silence: str = "2 min", speed: float = 1.0) -> LiveLogger:
    url = f"serial:{plug.path}?baud=9600"
    seams = Seams(monotonic=Hurried(speed)) if speed != 1.0 else Seams()
    return open_live(url, car(source={"url": url, "silence": silence}), seams=seams)


def opened(plug: Plug, logger: LiveLogger) -> Said:
    """The port is open once the logger has been polled; only then a device is heard."""
    return Said([logger.poll(0.0)])


def heard(count: int) -> "tuple[object, str]":
    return (lambda said: len(said.t_us) >= count), f"{count} rows"


def test_lines_become_rows(plug: Plug) -> None:
    logger = logger_at(plug)
    said = opened(plug, logger)
    plug.send(HEAD + rows(50))
    said = until(logger, lambda s: len(s.t_us) >= 50, "50 rows", said)
    assert said.t_us == [START_US + i * 1_000_000 for i in range(50)]
    assert said.channel("amps") == [-0.021] * 50
    assert said.states[-1] == "speaking"
    assert not said.refused
    logger.close()


def test_unplugged_and_replugged_at_the_same_name_it_goes_on(plug: Plug) -> None:
    logger = logger_at(plug)
    said = opened(plug, logger)
    plug.send(HEAD + rows(30))
    until(logger, lambda s: len(s.t_us) >= 30, "30 rows", said)
    plug.unplug()
    until_state(logger, "unplugged", said)
    assert "plug the logger in" in said.why
    until(logger, lambda s: "is not there" in s.why, "the port is looked for", said)
    plug.plug()
    until_state(logger, "opening", said)
    plug.send(HEAD + rows(30, first=60))
    until(logger, lambda s: len(s.t_us) >= 60, "30 more rows", said)
    assert said.states == ["opening", "speaking", "unplugged", "opening", "speaking"]
    assert said.refused == {"header repeated": 1}
    logger.close()


def test_half_a_line_before_the_unplugging_is_refused_and_never_read_as_a_number(plug: Plug) -> None:
    logger = logger_at(plug)
    said = opened(plug, logger)
    plug.send(HEAD + rows(20))
    until(logger, lambda s: len(s.t_us) >= 20, "20 rows", said)
    plug.send(b"1750000020,12.5,-0.0")
    until(logger, lambda s: len(s.arrivals) > 30, "the half line has come", said, poll_s=0.02)
    plug.unplug()
    until_state(logger, "unplugged", said)
    assert said.refused == {"cut-off last line": 1}
    assert len(said.t_us) == 20
    assert b"# 1750000020,12.5,-0.0\n" in said.raw
    logger.close()


def test_a_line_that_comes_in_two_halves_is_one_line(plug: Plug) -> None:
    logger = logger_at(plug)
    said = opened(plug, logger)
    plug.send(HEAD + rows(20) + b"17500000")
    until(logger, lambda s: len(s.t_us) >= 20, "20 rows", said)
    plug.send(b"20,12.5,-0.0")
    until(logger, lambda s: len(s.arrivals) > 30, "time has passed", said, poll_s=0.02)
    plug.send(b"21\n")
    until(logger, lambda s: len(s.t_us) >= 21, "the line", said)
    assert (said.t_us[-1], said.channel("amps")[-1]) == (START_US + 20_000_000, -0.021)
    assert not said.refused
    logger.close()


def test_silence_is_a_state_of_its_own_and_ends_with_the_next_row(plug: Plug) -> None:
    logger = logger_at(plug, silence="2 min", speed=60)
    said = opened(plug, logger)
    plug.send(HEAD + rows(20))
    until(logger, lambda s: len(s.t_us) >= 20, "20 rows", said)
    until_state(logger, "silent", said)
    assert "nothing has come for 120 s" in said.why
    plug.send(rows(1, first=500))
    until_state(logger, "speaking", said)
    assert said.states == ["opening", "speaking", "silent", "speaking"]
    logger.close()


def test_garbage_is_said_with_what_came_and_forgotten_when_rows_come(plug: Plug) -> None:
    logger = logger_at(plug, speed=20)
    said = opened(plug, logger)
    plug.send(HEAD + rows(20))
    until(logger, lambda s: len(s.t_us) >= 20, "20 rows", said)
    plug.send(b"boot: hello from the bootloader\n" * 5)
    until_state(logger, "garbage", said)
    assert "hello from the bootloader" in said.why
    plug.send(HEAD + rows(30, first=100))
    until_state(logger, "speaking", said)
    assert len(said.t_us) == 50
    assert said.refused == {"wrong number of fields": 5, "header repeated": 1}
    logger.close()


@pytest.mark.parametrize(
    ("sent", "read"), [(115200, 9600), (9600, 115200), (57600, 38400), (19200, 9600), (9600, 4800)]
)
def test_a_wrong_baud_rate_is_told_from_other_garbage(plug: Plug, sent: int, read: int) -> None:
    logger = logger_at(plug, speed=20)
    said = opened(plug, logger)
    noise = at_another_rate(HEAD + rows(200), sent, read)
    sender = threading.Thread(target=plug.send, args=(noise,))
    sender.start()
    until_state(logger, "wrong_speed", said)
    sender.join()
    assert "baud" in said.why
    assert not said.t_us
    logger.close()


def test_a_port_that_is_not_there_is_waited_for(tmp_path: Path) -> None:
    plug = Plug(tmp_path / "port")
    logger = logger_at(plug)
    said = until_state(logger, "unplugged")
    assert said.why == "the port is not there: plug the logger in; it is waited for"
    plug.plug()
    until_state(logger, "opening", said)
    plug.send(HEAD + rows(20))
    until(logger, lambda s: len(s.t_us) >= 20, "20 rows", said)
    logger.close()
    plug.unplug()


def test_what_is_no_port_is_refused(tmp_path: Path) -> None:
    plug = Plug(tmp_path / "file")
    plug.path.write_text("")
    said = until_state(logger_at(plug), "refused")
    assert said.why == "it is no serial port: check [source] url"


def test_closing_from_another_thread_ends_a_poll_in_peace(plug: Plug) -> None:
    logger = logger_at(plug)
    opened(plug, logger)
    states: list[object] = []
    thread = threading.Thread(target=lambda: states.append(logger.poll(1.0)))
    thread.start()
    logger.close()
    thread.join(10.0)
    assert len(states) == 1
