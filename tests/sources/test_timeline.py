"""Time that repeats, runs late or jumps."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.ledger import Ledger, RefusedLine
from monitor.sources.admit import Stretch
from monitor.sources.timeline import STRAY, Timeline
from tests.sources.conftest import Read

SECOND = 1_000_000
WINDOW = 2 * SECOND
YEAR = 365 * 86_400 * SECOND


def _log(*times: float) -> str:
    return "time,volts\n" + "".join(f"{t},12.{i:03d}\n" for i, t in enumerate(times))


def test_a_repeated_time_is_a_duplicate_and_the_first_reading_stays(read: Read) -> None:
    whole = read(_log(1, 2, 2, 3))
    assert whole.volts.tolist() == [12.0, 12.001, 12.003]
    assert whole.ledger.duplicates == 1


def test_rows_that_run_late_within_two_seconds_are_put_back(read: Read) -> None:
    whole = read(_log(1, 2, 4, 3, 2.5, 5))
    assert whole.seconds == [1, 2, 2.5, 3, 4, 5]
    assert whole.volts.tolist() == [12.0, 12.001, 12.004, 12.003, 12.002, 12.005]
    assert whole.ledger.reordered == 2
    assert whole.ledger.duplicates == 0


def test_a_late_row_whose_time_is_there_already_is_a_duplicate(read: Read) -> None:
    whole = read(_log(1, 2, 3, 2, 4))
    assert (whole.ledger.reordered, whole.ledger.duplicates) == (0, 1)


def test_rows_of_one_time_that_carry_different_channels_are_one_sample(read: Read) -> None:
    whole = read("time,volts,amps\n1,12.5,\n1,,-2\n2,12.4,-1\n2,,-9\n")
    assert whole.volts.tolist() == [12.5, 12.4]
    assert whole.amps is not None
    assert whole.amps.tolist() == [-2.0, -1.0]
    assert (whole.log.merged, whole.ledger.duplicates) == (1, 1)


def test_a_clock_set_back_is_a_step_and_data_time_goes_on(read: Read) -> None:
    whole = read(_log(*range(1000, 1010), *range(400, 410)))
    assert whole.seconds == list(range(1000, 1020))
    # the clock should have read 1010 and read 400
    assert whole.ledger.clock_steps == [(1010 * SECOND, -610.0)]
    assert whole.ledger.refused == {}


def test_a_clock_that_finds_its_time_again_is_believed(read: Read) -> None:
    lost, found = 946_684_800, 1_709_294_400  # 2000-01-01 and 2024-03-01T12:00Z
    whole = read(_log(*range(lost, lost + 5), *range(found, found + 8)))
    assert whole.seconds == [*range(lost, lost + 5), *range(found, found + 8)]
    assert whole.ledger.clock_steps == [(found * SECOND, float(found - lost - 5))]


def test_a_clock_lost_and_found_again_is_shifted_only_in_between(read: Read) -> None:
    start, lost = 1_709_294_400, 946_684_800
    whole = read(_log(*range(start, start + 9), *range(lost, lost + 9), *range(start + 60, start + 69)))
    assert whole.seconds == [*range(start, start + 18), *range(start + 60, start + 69)]
    assert [round(seconds) for _, seconds in whole.ledger.clock_steps] == [lost - start - 9, start + 60 - lost - 9]


def test_a_single_row_with_a_wild_time_is_refused(read: Read) -> None:
    whole = read(_log(1000, 1001, 5, 1002, 1003, 1003 + 3 * YEAR / SECOND / 4, 1004, 1005, 1006, 1007, 1008))
    # three quarters of a year forward is a pause like any other, so what follows is a step back
    assert whole.ledger.refused == {STRAY: 1}
    assert whole.ledger.first[STRAY][0].line == 4
    whole = read(_log(1000, 1001, 1001 + 2 * YEAR / SECOND, 1002, 1003))
    assert whole.seconds == [1000, 1001, 1002, 1003]
    assert whole.ledger.refused == {STRAY: 1}


def test_a_pause_of_months_is_a_pause(read: Read) -> None:
    whole = read(_log(1000, 1001, 1001 + 300 * 86_400, 1002 + 300 * 86_400))
    assert whole.ledger.clock_steps == []
    assert len(whole.t_us) == 4


@dataclass
class Twin:
    """The definition, row by row over the whole list, with nothing held back."""

    samples: dict[int, list[float]] = field(default_factory=dict)
    duplicates: int = 0
    merged: int = 0
    reordered: int = 0
    stray: int = 0
    steps: list[tuple[int, float]] = field(default_factory=list)

    def run(self, rows: list[tuple[int, list[float]]]) -> None:
        highest, shift, usual = None, 0, 0
        i = 0
        while i < len(rows):
            t = rows[i][0] + shift
            if highest is not None and not highest - WINDOW <= t <= highest + YEAR:
                later = [row[0] + shift for row in rows[i + 1 : i + 6]]
                votes = sum(
                    abs(x - t - n * usual) < abs(x - highest - (n + 1) * usual) for n, x in enumerate(later, start=1)
                )
                if 2 * votes <= len(later):
                    self.stray += 1
                    i += 1
                    continue
                expected = highest + usual
                if t > expected:
                    shift = 0 if rows[i][0] > highest else shift
                else:
                    shift += max(expected, highest + 1) - t
                self.steps.append((rows[i][0] + shift, (t - expected) / 1e6))
                t = rows[i][0] + shift
            elif highest is not None and t > highest:
                usual = t - highest
            self._place(t, rows[i][1], late=highest is not None and t < highest)
            highest = t if highest is None else max(highest, t)
            i += 1

    def _place(self, t: int, values: list[float], late: bool) -> None:
        if t not in self.samples:
            self.samples[t] = list(values)
            self.reordered += late
            return
        here = self.samples[t]
        news = [k for k, value in enumerate(values) if np.isnan(here[k]) and not np.isnan(value)]
        for k in news:
            here[k] = values[k]
        self.merged += bool(news)
        self.duplicates += not news


_move = st.one_of(
    st.integers(1, 30).map(lambda n: n * 100_000),
    st.just(SECOND),
    st.just(SECOND),
    st.just(0),
    st.integers(-19, -1).map(lambda n: n * 100_000),
    st.sampled_from([-600, -3, -2, 100, 5000]).map(lambda s: s * SECOND),
    st.sampled_from([-2 * YEAR, 2 * YEAR]),
)
_value = st.sampled_from([float("nan"), 12.0, 12.5])
_row = st.tuples(_move, st.booleans(), _value, _value).filter(lambda row: not (np.isnan(row[2]) and np.isnan(row[3])))


@given(st.lists(_row, min_size=1, max_size=60), st.lists(st.integers(0, 60), max_size=6))
def test_the_timeline_does_what_its_definition_says_however_it_is_cut(
    moves: list[tuple[int, bool, float, float]], cuts: list[int]
) -> None:
    now, rows = 1_000_000_000 * SECOND, []
    for move, returns, volts, amps in moves:
        rows.append((now + move, [volts, amps]))
        now += 0 if returns else move  # a stray row, or a step that lasts
    twin = Twin()
    twin.run(rows)

    ledger = Ledger()
    line = Timeline(ledger)
    runs = []
    edges = sorted({0, len(rows), *(min(cut, len(rows)) for cut in cuts)})
    for start, stop in pairwise(edges):
        part = rows[start:stop]
        channels = {name: np.array([row[1][k] for row in part]) for k, name in enumerate(("volts", "amps"))}
        where = lambda i, start=start: RefusedLine("log", start + i, "")  # noqa: E731 - as readers do
        runs += list(line.push(Stretch(np.array([row[0] for row in part], np.int64), channels, where)))
    runs += list(line.finish())

    t_us = [t for run in runs for t in run.t_us.tolist()]
    assert t_us == sorted(twin.samples)
    got = [[run.channels["volts"][i], run.channels["amps"][i]] for run in runs for i in range(len(run))]
    np.testing.assert_array_equal(np.array(got), np.array([twin.samples[t] for t in t_us]))
    assert ledger.duplicates == twin.duplicates
    assert ledger.reordered == twin.reordered
    assert line.merged == twin.merged
    assert ledger.refused.get(STRAY, 0) == twin.stray
    assert ledger.clock_steps == twin.steps
