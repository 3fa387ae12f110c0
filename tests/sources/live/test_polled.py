"""The rhythm of an instrument that is asked, with a scripted meter and a clock that the test moves."""

from pathlib import Path

import numpy as np
import pytest

from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from monitor.sources.header import Source
from monitor.sources.live.backoff import FIRST_S
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.polled import PolledLogger, Reading, Trouble
from monitor.sources.live.record import Recorded
from tests.sources.live.watching import faults, has_row, values


class Scripted:
    """A meter that gives what it was told to; each read takes `lasts_s`."""

    name, identity = "meter", "INVENTED"
    channels = {"volts": Source(0)}  # noqa: RUF012 - never changed

    def __init__(self) -> None:
        self.now_s = 0.0
        self.lasts_s = 0.0
        self.next: Trouble | None = None
        self.opened_s: list[float] = []
        self.is_open = False

    def open(self) -> None:
        self.opened_s.append(self.now_s)
        self.is_open = True

    def read(self) -> Reading:
        assert self.is_open
        self.now_s += self.lasts_s
        if self.next is not None:
            raise self.next
        return Reading({"volts": 12.6}, "12.6")

    def close(self) -> None:
        self.is_open = False


@pytest.fixture
def meter() -> Scripted:
    return Scripted()


@pytest.fixture
def logger(meter: Scripted) -> PolledLogger:
    def now() -> float:
        return meter.now_s

    return PolledLogger(meter, 1.0, 10.0, ArrivalClock(monotonic=now, wall=now), monotonic=now)


def test_it_is_read_when_due_and_not_before(meter: Scripted, logger: PolledLogger) -> None:
    seen = []
    for _ in range(24):  # 3 s in steps of an eighth, which binary numbers hold exactly
        seen.append(has_row(logger.poll(0.0)))
        meter.now_s += 0.125
    assert np.flatnonzero(seen).tolist() == [0, 8, 16]


def test_a_slow_reply_is_followed_by_no_burst(meter: Scripted, logger: PolledLogger) -> None:
    meter.lasts_s = 5.0
    logger.poll(0.0)
    meter.lasts_s = 0.0
    assert [has_row(logger.poll(0.0)) for _ in range(3)] == [True, False, False]


def test_it_is_opened_again_for_ever_ever_more_rarely(meter: Scripted, logger: PolledLogger) -> None:
    meter.next = Trouble("refused", "nobody there")
    while meter.now_s < 3600:
        assert logger.poll(0.0).state == "refused"
        meter.now_s += 0.25
    waits = np.diff(meter.opened_s)
    assert 2 * FIRST_S * 0.75 <= waits[0] < 2 * FIRST_S + 0.25
    assert 22 < waits[-1] < 31  # 30 s, less up to a quarter
    meter.next = None
    meter.now_s += 31
    assert values(logger.poll(0.0)) == {"volts": 12.6}


def test_a_missed_reply_is_silence_only_once_it_lasts(meter: Scripted, logger: PolledLogger) -> None:
    logger.poll(0.0)
    meter.next = Trouble("silent", "no answer")
    states = {}
    while meter.now_s < 20:
        meter.now_s += 0.5
        states[meter.now_s] = logger.poll(0.0).state
    assert {at for at, state in states.items() if state == "silent"} <= {at for at in states if at >= 10}
    assert states[20.0] == "silent"
    assert states[9.5] == "speaking"


def test_a_trouble_that_keeps_the_connection_opens_none_anew(meter: Scripted, logger: PolledLogger) -> None:
    logger.poll(0.0)
    meter.next = Trouble("error", "busy", "Modbus exception 6", "06", keep=True)
    meter.now_s += 1.0
    look = logger.poll(0.0)
    assert (look.state, look.why, faults([look])) == ("error", "busy", ["Modbus exception 6"])
    meter.next = None
    meter.now_s += 1.0
    assert (logger.poll(0.0).state, len(meter.opened_s)) == ("speaking", 1)


def test_rows_bear_the_clock_of_their_arrival(meter: Scripted, logger: PolledLogger) -> None:
    meter.now_s = 100.0
    meter.lasts_s = 0.25
    rows = logger.poll(0.0).rows
    assert rows is not None
    assert rows.t_us.tolist() == [100_250_000]


def test_a_recording_of_it_is_a_log_to_replay(meter: Scripted, logger: PolledLogger, tmp_path: Path) -> None:
    meter.now_s = 1_700_000_000.0
    recorded = Recorded(logger, tmp_path)
    for trouble in (None, None, Trouble("error", "busy", "Modbus exception 6", "06", keep=True), None):
        meter.next = trouble
        recorded.poll(0.0)
        meter.now_s += 1.0
    recorded.close()
    log = open_logs([tmp_path], LogSettings())
    blocks = list(log.blocks())
    assert np.concatenate([b.t_us for b in blocks]).tolist() == [
        1_700_000_000_000_000 + s * 1_000_000 for s in (0, 1, 3)
    ]
    assert np.concatenate([b.volts for b in blocks]).tolist() == [12.6] * 3
    assert log.ledger.refused == {}


def test_a_clock_that_was_set_is_told_with_the_next_look(meter: Scripted) -> None:
    wall = {"ahead": 0.0}
    clock = ArrivalClock(monotonic=lambda: meter.now_s, wall=lambda: meter.now_s + wall["ahead"])
    logger = PolledLogger(meter, 1.0, 10.0, clock, monotonic=lambda: meter.now_s)
    assert (logger.poll(0.0).stamped, logger.poll(0.0).clock_steps) == (True, ())
    wall["ahead"] = 3600.0
    meter.now_s += 1.0
    assert [step for _, step in logger.poll(0.0).clock_steps] == [3600.0]


def test_it_is_asked_at_its_own_times(meter: Scripted, logger: PolledLogger) -> None:
    assert logger.poll(0.0).paced
