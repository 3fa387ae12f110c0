"""The asked part of a log: which samples are inside, and that none vanishes."""

from datetime import UTC
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.errors import InputError, SettingError
from monitor.base.ledger import Ledger
from monitor.base.samples import Block
from monitor.base.window import OUTSIDE, Window, parse_moment

HOUR_US = 3_600_000_000


def blocks_of(times: list[int], cuts: list[int]) -> list[Block]:
    whole = Block(np.array(times, np.int64), np.array(times, np.float64))
    edges = [0, *sorted(cuts), len(times)]
    return [whole[a:b] for a, b in pairwise(edges)]


@given(
    st.lists(st.integers(0, 100), unique=True, min_size=1).map(sorted),
    st.lists(st.integers(0, 30), max_size=4),
    st.integers(0, 100) | st.none(),
    st.integers(1, 50) | st.none(),
)
def test_each_sample_is_inside_or_counted_as_outside_however_the_log_is_cut(
    times: list[int], cuts: list[int], start: int | None, lasting: int | None
) -> None:
    end = None if lasting is None else (start or 0) + lasting
    wanted = [t for t in times if (start is None or t >= start) and (end is None or t < end)]
    book = Ledger(samples=len(times))
    inside = Window(start, end).cut(blocks_of(times, cuts), book)
    if not wanted:
        with pytest.raises(InputError, match="no sample in the asked time"):
            list(inside)
    else:
        assert [int(t) for block in inside for t in block.t_us] == wanted
    assert book.samples == len(wanted)
    assert book.refused.get(OUTSIDE, 0) == len(times) - len(wanted)


def test_a_log_without_samples_is_not_blamed_on_the_window() -> None:
    assert list(Window(0, 1).cut(blocks_of([], []), Ledger())) == []


def test_an_end_before_the_start_is_refused() -> None:
    with pytest.raises(SettingError, match="not later than --from"):
        Window(5, 5)


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("1970-01-02T00:00", 24),
        ("1970-01-02", 24),
        ("1970-01-02T01:00+01:00", 24),
        ("1970-01-02 00:00:00Z", 24),
        ("19700102T000000", 24),
    ],
)
def test_iso_times_are_read_and_without_zone_as_told(text: str, hours: int) -> None:
    assert parse_moment(text, UTC, "--from") == hours * HOUR_US


def test_a_time_without_zone_is_on_the_clock_of_the_given_zone() -> None:
    assert parse_moment("1970-01-02", ZoneInfo("Etc/GMT-5"), "--to") == 19 * HOUR_US


@pytest.mark.parametrize("text", ["", "yesterday", "3.11.2025", "2025-13-01", "0001-01-01T00:00+23:00", "\x00"])
def test_other_text_is_refused_naming_the_option(text: str) -> None:
    with pytest.raises(SettingError, match=r"--from: expected an ISO 8601 time"):
        parse_moment(text, UTC, "--from")
