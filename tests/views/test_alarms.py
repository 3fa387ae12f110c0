"""Alarms in sentences, and which alarms of two sets of rules are the same thing."""

import io
from datetime import UTC

from monitor.base.alarms import Alarm
from monitor.base.samples import SECOND_US
from monitor.views.alarm_rows import alarm_rows, sentence
from monitor.views.alarms import compare, print_comparison
from monitor.views.words import LocalTime, plain

HOUR_US = 3600 * SECOND_US


def alarm(since_h, until_h=None, **changes):
    usual = {
        "limit": "sleep-current",
        "quantity": "sleep_current",
        "unit": "A",
        "side": "high",
        "priority": "medium",
        "state": "unacknowledged",
        "value": 0.095,
        "worst": 0.095,
        "setpoint": 0.05,
        "since": round(since_h * HOUR_US),
        "raised": round((since_h + 0.25) * HOUR_US),
        "returned": None if until_h is None else round(until_h * HOUR_US),
        "cause": "Something stays on.",
        "response": "Find it.",
    }
    return Alarm(**usual | changes)


def pairs(first, second, end_h=100):
    found = compare(["a", "b"], first, second, end_h * HOUR_US)
    return [(line.first is not None, line.second is not None) for line in found.alarms]


def test_alarms_on_one_quantity_that_overlap_are_one_line():
    assert pairs([alarm(1, 5)], [alarm(4, 9, limit="other-name", setpoint=0.03)]) == [(True, True)]


def test_alarms_that_do_not_overlap_or_are_of_another_side_or_quantity_are_two():
    assert pairs([alarm(1, 3)], [alarm(4, 9)]) == [(True, False), (False, True)]
    assert pairs([alarm(1)], [alarm(1, side="low")]) == [(True, False), (False, True)]
    assert pairs([alarm(1)], [alarm(1, quantity="volts")]) == [(True, False), (False, True)]


def test_an_alarm_that_is_still_so_lasts_to_the_end_of_the_log():
    assert pairs([alarm(1)], [alarm(50)]) == [(True, True)]


def test_each_alarm_has_one_counterpart_at_most():
    assert pairs([alarm(1, 9)], [alarm(2, 3), alarm(4, 5)]) == [(True, True), (False, True)]


def test_a_sentence_has_limit_urgency_value_setpoint_and_how_long():
    told = plain(sentence(alarm(0, 2, worst=0.12, passages=3), HOUR_US))
    assert told == (
        "sleep-current (medium): sleep current 95 mA, limit 50 mA, worst 120 mA; over after 2 h, passed 3 times."
    )


def test_what_to_do_is_said_once_for_each_limit():
    rows = alarm_rows([alarm(0, 1), alarm(30, 31)], "flooded", LocalTime(UTC), 40 * HOUR_US)
    assert [label for label, _ in rows] == ["Alarms", "", "", "To do"]
    assert plain(rows[0][1]) == "2 alarms under the rules flooded:"
    assert rows[-1][1] == "sleep-current: Something stays on. Find it."


def test_no_alarm_is_said_in_words():
    assert alarm_rows([], "flooded", LocalTime(UTC), 0) == [("Alarms", "None under the rules flooded.")]


def test_nothing_in_either_set_is_said_in_words():
    out = io.StringIO()
    print_comparison(compare(["a", "b"], [], [], 0), 0, UTC, False, out, 80)
    assert out.getvalue().splitlines() == [
        "a: 0 alarms",
        "b: 0 alarms",
        "",
        "Neither set of rules raises an alarm on this log.",
    ]


def test_the_comparison_fits_the_width_it_is_given():
    out = io.StringIO()
    found = compare(["flooded", "many-modules"], [alarm(0, 2)], [alarm(1)], 40 * HOUR_US)
    print_comparison(found, 40 * HOUR_US, UTC, False, out, 60)
    assert max(len(line) for line in out.getvalue().splitlines()) <= 60
    assert "01:15, sleep-current" in out.getvalue()
