"""How soon the reader looks again: seldom where lines bear their own times, at once where an instrument is asked."""

import numpy as np

from monitor.service.reader import BUSY_BYTES, LEAST_REST_S, MOST_REST_S, STAMP_REST_S, rest_s
from monitor.sources.live.arrival import Arrival
from monitor.sources.rows import Cells, Rows, line_of

ROWS = Rows(np.array([1]), {"volts": Cells(np.array([12.6]))}, line_of("a logger", 1, b"a line\n"), lines=1)


def test_a_slow_logger_is_looked_at_seldom() -> None:
    assert rest_s(Arrival(b"a line\n", ROWS, "speaking")) == MOST_REST_S


def test_rows_that_this_computer_gives_their_times_are_looked_for_more_often() -> None:
    assert rest_s(Arrival(b"a line\n", ROWS, "speaking", stamped=True)) == STAMP_REST_S < MOST_REST_S


def test_a_fast_logger_is_looked_at_again_soon() -> None:
    assert rest_s(Arrival(b"x" * BUSY_BYTES, ROWS, "speaking")) == LEAST_REST_S


def test_an_instrument_that_is_asked_at_its_own_times_is_never_kept_waiting() -> None:
    assert rest_s(Arrival(b"a row\n", ROWS, "speaking", stamped=True, paced=True)) == 0.0


def test_a_look_that_waited_in_vain_is_followed_by_the_next() -> None:
    assert rest_s(Arrival(b"", None, "silent")) == 0.0
