"""The states of a link and the attempts to mend it, on a clock of the test's own."""

import pytest

from monitor.base.vehicle import LogSettings
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.stream import Habits, Seams, StreamLogger
from monitor.sources.live.transport import LinkError, Transport
from tests.sources.live.conftest import Clock, Said, listen, on_pieces
from tests.sources.live.wires import HEAD, rows

GONE = LinkError("unplugged", "the cable is gone: plug it in")


class Absent:
    """A link that cannot be opened; when it was tried."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.tried: list[float] = []

    def connect(self) -> Transport:
        self.tried.append(self.clock.now)
        raise GONE


def test_it_is_tried_for_ever_with_waits_that_double_up_to_half_a_minute() -> None:
    clock = Clock()
    port = Absent(clock)
    logger = StreamLogger(
        "x", port.connect, Habits(), LogSettings(), 12.0, 9.0, ArrivalClock(None, clock, clock.wall),
        Seams(clock, clock.rest, lambda: 0.0),
    )  # fmt: skip
    said = listen(logger, 3600)
    waits = [b - a for a, b in zip(port.tried[:-1], port.tried[1:], strict=True)]
    assert waits[:8] == pytest.approx([0.5, 1, 2, 4, 8, 16, 30, 30])
    assert waits[8:] == pytest.approx([30.0] * len(waits[8:]))
    assert len(port.tried) > 120
    assert said.states == ["unplugged"]
    assert said.why == GONE.why


def test_after_rows_have_come_the_waits_begin_anew_but_not_after_a_mere_opening() -> None:
    clock = Clock()
    pieces: list[bytes | LinkError] = [GONE, GONE, GONE, HEAD + rows(20), GONE, HEAD + rows(20, first=60)]
    logger = on_pieces(clock, pieces)
    said = listen(logger, 1)
    while len(said.t_us) < 20:
        listen(logger, 1, said)
    spoke = clock.now
    # 0.5, 1 and 2 s after openings that gave no row
    assert spoke == pytest.approx(103.5)
    while len(said.t_us) < 40:
        listen(logger, 1, said)
    assert clock.now == pytest.approx(spoke + 0.5)


def test_a_change_of_state_ends_a_poll_at_once() -> None:
    clock = Clock()
    logger = on_pieces(clock, [HEAD + rows(20), GONE])
    logger.poll(60.0)
    logger.poll(60.0)
    assert logger.poll(60.0).state == "unplugged"
    assert clock.now < 101.0


def test_silence_is_told_after_its_time_and_not_before() -> None:
    clock = Clock()
    logger = on_pieces(clock, [HEAD + rows(20)], silence_s=120.0)
    said = listen(logger, 120)
    assert said.states[-1] == "speaking"
    listen(logger, 2, said)
    assert said.states[-1] == "silent"


def test_half_a_line_before_a_silent_connection_is_given_up_is_not_joined_with_what_comes_after() -> None:
    clock = Clock()
    pieces = [HEAD + rows(20) + b"1750000020,12.5,-0.0"]
    logger = on_pieces(clock, pieces, habits=Habits(calls_again=True), silence_s=10.0)
    said = listen(logger, 15)
    assert "silent" in said.states
    pieces.append(rows(20, first=60))
    listen(logger, 5, said)
    assert len(said.t_us) == 40
    assert said.refused == {"cut-off last line": 1}


def test_a_few_bad_lines_among_rows_are_no_state() -> None:
    clock = Clock()
    pieces = [HEAD + rows(20), *(b"?!\n?!\n" + rows(1, first=20 + i) for i in range(50))]
    said = listen(on_pieces(clock, pieces), 60)
    assert "garbage" not in said.states
    assert said.refused == {"wrong number of fields": 100}


def test_garbage_is_told_after_ten_seconds_and_not_before() -> None:
    clock = Clock()
    logger = on_pieces(clock, [HEAD + rows(20), *[b"what?\n"] * 500])
    said = Said()
    while clock.now < 109.0:
        said.arrivals.append(logger.poll(1.0))
        clock.rest(0.1)
    assert said.states[-1] == "speaking"
    while clock.now < 112.0:
        said.arrivals.append(logger.poll(1.0))
        clock.rest(0.1)
    assert said.states[-1] == "garbage"
    assert "as 'what?'" in said.why


def test_binary_is_garbage_where_there_is_no_baud_rate_and_a_wrong_one_where_there_is() -> None:
    for habits, state in ((Habits(), "garbage"), (Habits(has_speed=True), "wrong_speed")):
        said = listen(on_pieces(Clock(), [bytes(range(128, 256))], habits=habits), 20)
        assert said.states[-1] == state


def test_after_a_long_disturbance_the_first_row_is_believed_again_though_no_header_comes() -> None:
    clock = Clock()
    pieces = [HEAD + rows(20), *[b"%$&?\n" * 5] * 5]
    logger = on_pieces(clock, pieces)
    said = listen(logger, 30)
    assert said.states[-1] == "garbage"
    pieces.append(rows(1, first=60))
    listen(logger, 1, said)
    assert (said.states[-1], len(said.t_us), said.refused) == ("speaking", 21, {"wrong number of fields": 25})


def test_after_a_long_disturbance_the_columns_of_another_header_are_not_taken_for_the_old_ones() -> None:
    clock = Clock()
    other = b"time,amps,volts\n" + b"".join(b"%d,2,13\n" % (1750000100 + i) for i in range(30))
    pieces = [HEAD + rows(20), *[b"%$&?\n" * 5] * 5]
    logger = on_pieces(clock, pieces)
    said = listen(logger, 30)
    pieces.append(other)
    listen(logger, 5, said)
    assert said.channel("amps")[20:] == [2.0] * 30
    assert said.refused == {"wrong number of fields": 25}


def test_rows_of_another_layout_mend_garbage_without_a_header() -> None:
    clock = Clock()
    pieces = [b"12.5,-0.02\n" * 20, *[b"12.5;-0.02\n" * 25] * 3]
    logger = on_pieces(clock, pieces, {"volts": 1, "amps": 2})
    said = listen(logger, 30)
    assert said.states[-1] == "garbage"
    pieces.append(b"12.6;-0.03\n" * 25)
    listen(logger, 30, said)
    assert said.states[-1] == "speaking"
    assert said.channel("amps")[-1] == -0.03


def test_the_clock_of_this_computer_says_nothing_of_times_that_the_logger_gives() -> None:
    clock = Clock()
    pieces = [HEAD + rows(20)]
    logger = on_pieces(clock, pieces)
    said = listen(logger, 3)
    clock.wall_ahead += 7200.0
    pieces.append(rows(20, first=20))
    listen(logger, 3, said)
    assert len(said.t_us) == 40
    assert all(arrival.clock_steps == () for arrival in said.arrivals)
    assert not said.arrivals[-1].stamped


def test_a_poll_after_the_closing_says_nothing_and_opens_nothing() -> None:
    clock = Clock()
    logger = on_pieces(clock, [HEAD + rows(20)])
    logger.close()
    assert logger.poll(1.0).rows is None
