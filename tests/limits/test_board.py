"""One cause is told once: what a limit that yields may say while another tells it, and after."""

from monitor.base.samples import SECOND_US
from monitor.limits.alarm import DAY_US
from monitor.limits.board import Board
from tests.limits.limits import limit, rules

AWAKE = limit("standing_current", name="awake", high=0.2)
ASLEEP = limit("sleep_current", name="asleep", high=0.05, yields_to=("awake",))
MEAN = limit("mean_night_current", name="mean", high=0.1, yields_to=("awake",))
CRANK = limit("crank_volts_min", name="crank", low=9.0, latched=True, yields_to=("awake",))
HOUR_US = 3600 * SECOND_US


def told(limits, *course):
    """What is told of each (µs, limit, value) and, after it, by those that yield."""
    board, found = Board(rules(*limits)), []
    for at_us, name, value in course:
        (alarm,) = [alarm for alarm in board.alarms if alarm.limit.name == name]
        steps = alarm.take(at_us, value) + board.give_way(at_us)
        found += [(step.at // HOUR_US, step.what, step.alarm.limit) for step in steps]
    return found


def test_the_passage_that_another_limit_told_is_not_told_again_when_that_one_returns():
    course = [(0, "awake", 0.3), (0, "asleep", 0.3), (5 * HOUR_US, "awake", 0.1), (9 * HOUR_US, "asleep", 0.1)]
    assert told([AWAKE, ASLEEP], *course) == [(0, "raised", "awake"), (5, "returned", "awake")]


def test_it_is_told_if_it_is_still_there_a_day_after():
    course = [(0, "awake", 0.3), (0, "asleep", 0.3), (5 * HOUR_US, "awake", 0.1), (DAY_US, "asleep", 0.1)]
    assert told([AWAKE, ASLEEP], *course)[-1] == (24, "raised", "asleep")


def test_another_passage_is_told_at_once():
    course = [(0, "awake", 0.3), (0, "asleep", 0.3), (5 * HOUR_US, "awake", 0.0), (5 * HOUR_US, "asleep", 0.0)]
    assert told([AWAKE, ASLEEP], *course, (6 * HOUR_US, "asleep", 0.1))[-1] == (6, "raised", "asleep")


def test_a_mean_that_still_holds_what_was_told_passes_its_limit_unsaid():
    course = [(0, "awake", 0.3), (HOUR_US, "awake", 0.0), (2 * HOUR_US, "mean", 0.12)]
    assert told([AWAKE, MEAN], *course) == [(0, "raised", "awake"), (1, "returned", "awake")]


def test_an_event_that_another_limit_told_of_does_not_come_up_after_a_good_one():
    course = [(0, "awake", 0.3), (HOUR_US, "crank", 8.0), (2 * HOUR_US, "crank", 11.0), (2 * DAY_US, "awake", 0.0)]
    assert told([AWAKE, CRANK], *course, (4 * DAY_US, "awake", 0.0)) == [
        (0, "raised", "awake"),
        (24, "reminder", "awake"),
        (48, "reminder", "awake"),
        (48, "returned", "awake"),
    ]


def test_an_event_nobody_told_of_stays_until_it_is_acknowledged():
    course = [(HOUR_US, "crank", 8.0), (2 * HOUR_US, "crank", 11.0)]
    assert told([AWAKE, CRANK], *course) == [(1, "raised", "crank")]


def test_a_peak_within_the_on_delay_makes_no_passage_worse():
    # somebody at the car while a module is awake again: 300 for a second, 42 when it is told
    course = [42.0] * 4 + [0.0] * 2 + [42.0, 300.0] + [42.0] * 3
    waits = limit("standing_current", name="awake", high=40.0, on_delay_s=3 * 3600.0, off_delay_s=3600.0)
    found = told([waits], *[(k * HOUR_US, "awake", value) for k, value in enumerate(course)])
    assert found == [(3, "raised", "awake"), (5, "returned", "awake")]


def test_a_passage_below_what_the_told_one_grew_to_is_no_worse():
    course = [(0, "awake", 0.2), (HOUR_US, "awake", 0.6), (2 * HOUR_US, "awake", 0.0), (3 * HOUR_US, "awake", 0.5)]
    assert told([AWAKE], *course) == [(0, "raised", "awake"), (2, "returned", "awake")]
