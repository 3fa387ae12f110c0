"""Rows of a live logger → blocks: channels that come later, restarts, clocks that were set, rows that are late."""

from dataclasses import replace

import numpy as np

from monitor.base.ledger import Ledger, RefusedLine
from monitor.base.samples import Block
from monitor.sources.live.arrival import Arrival
from monitor.sources.live.feed import Feed
from monitor.sources.rows import Cells, Fault, Rows, line_of
from tests.sources.live.conftest import feed

START = 1_750_000_000_000_000


def arrival(seconds: list[float], volts: float = 12.5, again: bool = False, **more: float) -> Arrival:
    t_us = np.array([START + round(s * 1e6) for s in seconds], np.int64)
    channels = {name: Cells(np.full(len(t_us), value)) for name, value in {"volts": volts, **more}.items()}
    lines = b"".join(b"line\n" for _ in seconds)
    return Arrival(lines, Rows(t_us, channels, line_of("x", 1, lines)), "speaking", again=again)


NOTHING = Arrival(b"", None, "speaking")


def seconds_of(blocks: list[Block]) -> list[float]:
    return [(int(t) - START) / 1e6 for block in blocks for t in block.t_us]


def test_a_channel_that_comes_later_is_absent_before_and_unknown_after() -> None:
    fed = feed([arrival([0, 1]), arrival([4], amps=-0.5), arrival([8])], Feed())
    amps = [None if block.amps is None else block.amps.tolist() for block in fed.blocks]
    assert amps[0] is None
    assert [a for part in amps[1:] if part is not None for a in part if not np.isnan(a)] == [-0.5]
    assert all(part is not None for part in amps[1:])


def test_a_row_is_passed_on_at_most_a_moment_after_it_came() -> None:
    into = Feed()
    assert into.push(arrival([0.0]), 10.0) == []
    assert seconds_of(into.push(NOTHING, 10.25)) == [0.0]


def test_at_ten_hertz_a_row_waits_for_three_others() -> None:
    into = Feed()
    out = [seconds_of(into.push(arrival([k / 10]), 10.0 + k / 10)) for k in range(10)]
    assert [len(x) for x in out[3:]] == [1] * 7
    assert out[3] == [0.0]


def test_who_waits_for_storing_is_told_of_rows_that_were_given_and_not_of_held_ones() -> None:
    into, told = Feed(), list[int]()
    for k in range(5):
        into.push(replace(arrival([k / 10]), stored=lambda k=k: told.append(k)), 10.0 + k / 10)
    for stored in into.settled():
        stored()
    assert told == [0, 1]  # 0.2 to 0.4 s wait for rows that are late
    into.push(replace(NOTHING, stored=lambda: told.append(9)), 10.5)  # sent again: as late as what came before it
    assert [stored() for stored in into.settled()] == []
    into.push(NOTHING, 11.0)
    for stored in into.settled():
        stored()
    assert told == [0, 1, 2, 3, 4, 9]
    assert into.settled() == []


def test_rows_that_are_late_by_less_are_put_back_and_later_ones_refused() -> None:
    into = Feed()
    blocks = [*into.push(arrival([0.0, 0.1, 0.05]), 0.0), *into.push(NOTHING, 1.0)]
    assert seconds_of(blocks) == [0.0, 0.05, 0.1]
    blocks = [*into.push(arrival([0.07, 0.2]), 2.0), *into.finish()]
    assert seconds_of(blocks) == [0.2]
    assert into.ledger.refused == {"late: later samples had been passed on": 1}
    assert (into.ledger.samples, into.ledger.reordered) == (4, 1)


def test_after_a_restart_data_time_goes_on_from_the_journals_last_sample() -> None:
    fed = feed([arrival([1.0, 2.0, 3.0])], Feed(last_us=START + 500_000, ledger=Ledger(samples=7)))
    assert seconds_of(list(fed.blocks)) == [1.0, 2.0, 3.0]
    assert fed.ledger.samples == 10


def test_a_clock_set_back_while_the_service_was_down_is_a_step_and_no_sample_repeats() -> None:
    last = START + 7200_000_000
    fed = feed([arrival([float(s) for s in range(20)])], Feed(last_us=last))
    assert fed.t_us[0] == last + 1
    assert [b - a for a, b in zip(fed.t_us[:-1], fed.t_us[1:], strict=True)] == [1_000_000] * 19
    assert fed.ledger.clock_steps == [(last + 1, -7200.0)]


def test_a_step_of_the_loggers_clock_outlives_a_restart() -> None:
    before = Feed()
    first = feed([arrival([float(s) for s in range(20)]), arrival([s - 3600.0 for s in range(20, 40)])], before)
    assert first.ledger.shift_us == 3600_000_000
    second = feed([arrival([s - 3600.0 for s in range(640, 660)])], Feed(last_us=first.t_us[-1], ledger=first.ledger))
    assert second.t_us[0] - first.t_us[-1] == 601_000_000, "ten minutes off are ten minutes"
    assert len(second.ledger.clock_steps) == 1


def test_a_file_that_is_read_again_gives_only_what_the_journal_lacks_and_is_booked_once() -> None:
    def tenth(k: int) -> Arrival:
        """Ten rows and a line that is none."""
        found = arrival([float(s) for s in range(10 * k, 10 * k + 10)], again=True)
        assert found.rows is not None
        bad = Fault("bad", 1, (RefusedLine("x", 10 * k, "bad"),))
        return replace(found, rows=replace(found.rows, faults=(bad,)))

    arrivals = [tenth(k) for k in range(10)]
    once = feed(arrivals, Feed())
    assert once.ledger.refused == {"bad": 10}
    for known, booked in ((10, 1), (25, 3), (99, 10)):
        books = Ledger(samples=known, refused={"bad": booked})
        fed = feed(arrivals, Feed(last_us=once.t_us[known - 1], ledger=books))
        assert fed.t_us == once.t_us[known:]
        assert (books.samples, books.refused, books.clock_steps) == (100, {"bad": 10}, [])


def test_what_follows_a_file_that_the_journal_has_whole_is_news() -> None:
    last = START + 9_000_000
    into = Feed(last_us=last)
    fed = feed([arrival([float(s) for s in range(10)], again=True), arrival([10.0, 11.0]), arrival([12.0])], into)
    assert seconds_of(list(fed.blocks)) == [10.0, 11.0, 12.0]
    assert into.ledger.samples == 3


def test_volts_of_another_battery_are_said() -> None:
    into = Feed()
    feed([arrival([float(s) for s in range(100)], volts=26.0)], into)
    assert into.advice == 'set [battery] nominal = "24 V"'
    assert into.ledger.refused == {"volts outside 2 to 20 V": 100}


def test_reversed_amps_are_turned() -> None:
    fed = feed([arrival([0.0], amps=-0.5)], Feed(current_sign="reversed"))
    assert fed.channel("amps").tolist() == [0.5]
