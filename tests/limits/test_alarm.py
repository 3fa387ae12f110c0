"""The alarm of one limit: states after ISA-18.2 and IEC 62682, delays, deadband, and what is not told twice."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from monitor.base.samples import SECOND_US
from monitor.limits.alarm import DAY_US, LimitAlarm
from tests.limits.limits import limit

HOUR_US = 3600 * SECOND_US


def s(seconds):
    return round(seconds * SECOND_US)


def fed(alarm, values, at=lambda k: s(k)):
    """What is told while the values are observed one a second, as (second, what)."""
    told = [(t.at / SECOND_US, t.what) for k, value in enumerate(values) for t in alarm.take(at(k), value)]
    return told + [(t.at / SECOND_US, t.what) for t in alarm.advance(at(len(values)))]


def test_a_high_limit_is_passed_at_its_setpoint_and_returns_at_the_deadband_below_it():
    alarm = LimitAlarm(limit(high=40.0, deadband=4.0), "high")
    assert fed(alarm, [39.9, 40.0, 36.1, 36.0]) == [(1, "raised"), (3, "returned")]


def test_a_low_limit_returns_at_the_deadband_above_it():
    alarm = LimitAlarm(limit(low=20.0, deadband=2.0), "low")
    assert fed(alarm, [20.1, 20.0, 21.9, 22.0]) == [(1, "raised"), (3, "returned")]


def test_it_is_raised_when_the_on_delay_has_run_out_and_told_since_when():
    alarm = LimitAlarm(limit(on_delay_s=10.0), "high")
    told = [t for k in range(12) for t in alarm.take(s(k), 41.0 if k >= 1 else 0.0)]
    assert [(t.at, t.what, t.alarm.since) for t in told] == [(s(11), "raised", s(1))]


def test_a_passage_shorter_than_the_on_delay_is_none():
    alarm = LimitAlarm(limit(on_delay_s=10.0), "high")
    assert fed(alarm, [41.0] * 9 + [39.0] + [41.0] * 9 + [39.0]) == []


def test_at_the_limit_it_does_not_chatter():
    alarm = LimitAlarm(limit(deadband=4.0), "high")
    assert fed(alarm, [41.0, 39.0] * 50) == [(0, "raised")]


def test_it_returns_when_the_off_delay_has_run_out():
    alarm = LimitAlarm(limit(off_delay_s=5.0), "high")
    assert fed(alarm, [41.0] + [0.0] * 4 + [39.9] + [0.0] * 8)[1:] == [(6, "returned")]
    back = LimitAlarm(limit(off_delay_s=5.0), "high")
    assert fed(back, [41.0] + [0.0] * 4 + [41.0] + [0.0] * 8)[1:] == [(11, "returned")]


def test_unknown_time_does_not_count_and_neither_raises_nor_returns():
    alarm = LimitAlarm(limit(on_delay_s=10.0, off_delay_s=10.0), "high")
    assert fed(alarm, [41.0] * 6 + [math.nan] * 5 + [41.0] * 5) == [(15, "raised")]
    assert fed(alarm, [math.nan] * 500, at=lambda k: s(100 + k)) == []
    assert alarm.state_name() == "unacknowledged"


def test_unknown_time_longer_than_the_delay_begins_it_anew():
    alarm = LimitAlarm(limit(on_delay_s=10.0), "high")
    assert fed(alarm, [41.0] * 6 + [None] * 11 + [41.0] * 10) == [(27, "raised")]


def test_unknown_time_longer_than_the_off_delay_begins_the_return_anew():
    alarm = LimitAlarm(limit(off_delay_s=10.0), "high")
    assert fed(alarm, [41.0] + [0.0] * 6 + [None] * 11 + [0.0] * 11)[1:] == [(28, "returned")]
    short = LimitAlarm(limit(off_delay_s=10.0), "high")
    assert fed(short, [41.0] + [0.0] * 6 + [None] * 10 + [0.0] * 11)[1:] == [(21, "returned")]


def test_a_figure_that_still_grows_can_pass_the_limit_but_not_return_it():
    alarm = LimitAlarm(limit("time_to_sleep"), "high")
    assert [t.what for t in alarm.take(0, 39.0, at_least=True)] == []
    assert [t.what for t in alarm.take(s(1), 40.0, at_least=True)] == ["raised"]
    assert alarm.take(s(2), 5.0, at_least=True) == []
    assert [t.what for t in alarm.take(s(3), 5.0)] == ["returned"]


def test_the_setpoint_follows_the_temperature():
    alarm = LimitAlarm(limit("crank_volts_min", low=9.6, by_celsius=((-18.0, 8.5), (-12.0, 8.7))), "low")
    assert alarm.take(0, 8.6, celsius=-18.0) == []
    assert [(t.what, t.alarm.setpoint) for t in alarm.take(s(1), 8.6, celsius=-12.0)] == [("raised", 8.7)]


def test_acknowledged_while_active_it_is_cleared_when_it_returns():
    alarm = LimitAlarm(limit(), "high")
    alarm.take(0, 41.0)
    assert [(t.what, t.alarm.state) for t in alarm.acknowledge(s(1))] == [("acknowledged", "acknowledged")]
    assert [(t.what, t.alarm.state) for t in alarm.take(s(2), 0.0)] == [("cleared", "normal")]
    assert alarm.shown() is None


def test_acknowledged_after_it_returned_it_is_cleared():
    alarm = LimitAlarm(limit(), "high")
    alarm.take(0, 41.0)
    assert [t.alarm.state for t in alarm.take(s(1), 0.0)] == ["returned_unacknowledged"]
    assert [t.what for t in alarm.acknowledge(s(2))] == ["cleared"]
    assert alarm.acknowledge(s(3)) == []


def test_a_latched_event_stays_until_acknowledged():
    alarm = LimitAlarm(limit("crank_volts_min", low=9.6, latched=True), "low")
    alarm.take(0, 9.0)
    assert alarm.take(s(10), 10.5) == []
    assert alarm.state_name() == "unacknowledged"
    assert [(t.what, t.alarm.returned) for t in alarm.acknowledge(s(20))] == [("cleared", s(20))]


def test_an_event_that_is_not_latched_returns_with_the_next_good_one():
    alarm = LimitAlarm(limit("crank_volts_min", low=9.6), "low")
    assert [t.what for k, v in enumerate([9.0, 8.9, 10.0]) for t in alarm.take(s(k), v)] == ["raised", "returned"]


def test_unchanged_it_is_told_again_once_a_day_until_acknowledged():
    alarm = LimitAlarm(limit(), "high")
    alarm.take(0, 41.0)
    told = alarm.advance(2 * DAY_US + s(1))
    assert [(t.at, t.what, t.alarm.reminders) for t in told] == [(DAY_US, "reminder", 1), (2 * DAY_US, "reminder", 2)]
    alarm.acknowledge(2 * DAY_US + s(2))
    assert alarm.advance(9 * DAY_US) == []


def test_passages_within_a_day_of_being_told_are_one_alarm():
    alarm = LimitAlarm(limit(), "high")
    told = [t for k in range(23) for v in (41.0, 0.0) for t in alarm.take(k * HOUR_US + (0 if v else s(60)), v)]
    assert [t.what for t in told] == ["raised", "returned"]
    assert alarm.shown().passages == 23
    assert [t.what for t in alarm.take(DAY_US, 41.0)] == ["raised"]
    assert alarm.shown().passages == 1


@pytest.mark.parametrize(("deadband", "still", "worse"), [(0.0, 47.0, 47.1), (1.0, 44.0, 44.1)])
def test_a_worse_passage_is_told_at_once(deadband, still, worse):
    # half again as far as 2 is 3, and the deadband, or a tenth of 40, on top
    alarm = LimitAlarm(limit(high=40.0, deadband=deadband), "high")
    assert fed(alarm, [42.0, 0.0, still, 0.0]) == [(0, "raised"), (1, "returned")]
    again = LimitAlarm(limit(high=40.0, deadband=deadband), "high")
    assert fed(again, [42.0, 0.0, worse]) == [(0, "raised"), (1, "returned"), (2, "raised")]


def test_a_passage_after_it_was_acknowledged_is_a_new_alarm():
    alarm = LimitAlarm(limit(), "high")
    for at, value in ((0, 41.0), (s(1), 0.0)):
        alarm.take(at, value)
    alarm.acknowledge(s(2))
    assert [t.what for t in alarm.take(s(3), 41.0)] == ["raised"]


def test_shelved_it_is_not_told_and_comes_back_by_itself():
    alarm = LimitAlarm(limit(), "high")
    alarm.take(0, 0.0)
    assert [(t.what, t.alarm.state, t.alarm.value) for t in alarm.shelve(s(1), s(100))] == [
        ("shelved", "shelved", None)
    ]
    assert alarm.take(s(2), 41.0) == []
    assert alarm.state_name() == "shelved"
    told = alarm.advance(s(200))
    assert [(t.at, t.what) for t in told] == [(s(100), "unshelved"), (s(100), "raised")]
    assert told[-1].alarm.raised == s(2)


def test_what_passed_and_returned_while_shelved_is_never_told():
    alarm = LimitAlarm(limit(), "high")
    alarm.shelve(0, s(100))
    assert fed(alarm, [41.0, 41.0, 0.0]) == []
    assert [t.what for t in alarm.unshelve(s(50))] == ["unshelved"]
    assert alarm.shown() is None


def test_out_of_service_nothing_is_followed_and_the_alarm_is_gone():
    alarm = LimitAlarm(limit(), "high")
    alarm.take(0, 41.0)
    assert [(t.what, t.alarm.state) for t in alarm.out_of_service(s(1))] == [("out_of_service", "out_of_service")]
    assert fed(alarm, [41.0] * 5, at=lambda k: s(2 + k)) == []
    assert alarm.shown().state == "out_of_service"
    assert [(t.what, t.alarm.state) for t in alarm.in_service(s(9))] == [("in_service", "normal")]
    assert alarm.shown() is None
    assert [t.what for t in alarm.take(s(10), 41.0)] == ["raised"]


def test_hushed_it_is_suppressed_by_design_and_what_is_seen_says_nothing():
    alarm = LimitAlarm(limit(on_delay_s=2.0), "high")
    assert fed(alarm, [41.0, 41.0, 41.0]) == [(2, "raised")]
    alarm.hush(s(50))
    assert alarm.shown().state == "suppressed_by_design"
    assert fed(alarm, [0.0] * 40, at=lambda k: s(4 + k)) == []
    assert alarm.advance(s(60)) == []
    assert alarm.shown().state == "unacknowledged"  # as it was: the work showed nothing
    fresh = LimitAlarm(limit(), "high")
    fresh.hush(None)
    assert fed(fresh, [41.0] * 5) == []


def test_an_alarm_that_gives_way_is_told_when_the_other_one_returns():
    alarm = LimitAlarm(limit(), "high")
    alarm.give_way(True, 0)
    assert fed(alarm, [41.0]) == []
    assert alarm.state_name() == "suppressed_by_design"
    assert [t.what for t in alarm.give_way(False, s(5))] == ["raised"]


@pytest.mark.parametrize(("then", "told"), [(41.0, ["raised"]), (0.0, [])])
def test_what_is_not_seen_when_the_other_one_returns_is_told_only_if_it_is_seen_again(then, told):
    """As the mean drain of a night that is over: the next night says whether it is still so."""
    alarm = LimitAlarm(limit(), "high")
    alarm.give_way(True, 0)
    fed(alarm, [41.0, None])
    assert alarm.give_way(False, s(5)) == []
    assert [t.what for t in alarm.take(s(6), then)] == told
    assert [t.what for t in alarm.advance(s(7))] == []


def test_in_a_silence_nothing_is_told_before_its_end():
    alarm = LimitAlarm(limit(), "high")
    alarm.take(0, 41.0)
    assert [(t.at, t.what) for t in alarm.silent(3 * DAY_US)] == [(3 * DAY_US, "reminder")]


def test_an_alarm_carries_its_numbers_times_and_words():
    alarm = LimitAlarm(limit("sleep_current", high=0.08, on_delay_s=900.0, basis="Of 70 Ah."), "high")
    alarm.take(0, 0.095, why=lambda: "Standing.")
    (raised,) = alarm.take(s(900), 0.12)
    told = raised.alarm
    assert (told.value, told.worst, told.setpoint, told.since, told.raised) == (0.095, 0.095, 0.08, 0, s(900))
    said = "95 mA: at or above 80 mA since 1970-01-01T00:00:00Z, told after 15 min of it. Standing. Of 70 Ah."
    assert told.detail == said
    assert (told.cause, told.response, told.priority) == ("A cause.", "A response.", "medium")
    assert alarm.shown().worst == 0.12


# A slow twin: whole seconds, one observation each, the definition written out.


def slow(values, high, deadband, on, off):
    """(second, what) of a limit without orders, in less than a day: counting seconds, one by one."""
    told, active, beyond, clear, unknown, raised = [], False, 0, 0, 0, None
    for second, value in enumerate(values):
        zone = "unknown" if value is None else "beyond" if value >= high else "between"
        zone = "clear" if value is not None and value <= high - deadband and value < high else zone
        if zone != "unknown":
            unknown = 0
        if zone in ("between", "clear") and not active:
            beyond = 0
        if zone in ("between", "beyond") and active:
            clear = 0
        if zone == "beyond" and not active and beyond >= on:
            active, raised = _raise(told, second, raised)
        if zone == "clear" and active and clear >= off:
            active, clear = _return(told, second, raised)
            beyond = 0
        if zone == "unknown":
            unknown += 1
            beyond = 0 if unknown > on and not active else beyond
            clear = 0 if unknown > off else clear
        if zone == "beyond" and not active:
            beyond += 1
            if beyond >= on:
                active, raised = _raise(told, second + 1, raised)
                beyond, clear = 0, 0
        elif zone == "clear" and active:
            clear += 1
            if clear >= off:
                active, clear = _return(told, second + 1, raised)
                beyond = 0
    return told


def _raise(told, at, raised):
    if raised is None:
        told.append((at, "raised"))
    return True, at if raised is None else raised


def _return(told, at, raised):
    if told[-1][1] == "raised":
        told.append((at, "returned"))
    return False, 0


LEVELS = st.sampled_from([None, 0.0, 36.0, 38.0, 40.0, 41.0])


@given(
    st.lists(st.tuples(LEVELS, st.integers(1, 12)), max_size=20),
    st.integers(0, 8),
    st.integers(0, 8),
    st.sampled_from([0.0, 4.0]),
)
def test_it_agrees_with_the_definition_counted_second_by_second(runs, on, off, deadband):
    values = [value for value, length in runs for _ in range(length)]
    alarm = LimitAlarm(limit(deadband=deadband, on_delay_s=on, off_delay_s=off), "high")
    assert fed(alarm, values) == slow(values, 40.0, deadband, on, off)


@given(st.lists(st.tuples(LEVELS, st.integers(1, 100)), min_size=1, max_size=20), st.integers(0, 90), st.data())
def test_how_often_time_is_told_to_go_on_does_not_matter(runs, delay, data):
    whole, often = (LimitAlarm(limit(on_delay_s=delay, off_delay_s=delay), "high") for _ in range(2))
    told, pieces, t = [], [], 0
    for value, length in runs:
        told += whole.take(t, value)
        pieces += often.take(t, value)
        for step in sorted(data.draw(st.lists(st.integers(0, s(length)), max_size=5))):
            pieces += often.advance(t + step)
        t += s(length)
    assert pieces + often.advance(t) == told + whole.advance(t)


ALLOWED = {  # what may follow what of one limit: the state diagram of ISA-18.2 as far as it is told
    "normal": {"raised", "shelved", "out_of_service"},
    "unacknowledged": {"returned", "acknowledged", "reminder", "shelved", "out_of_service", "raised", "cleared"},
    "acknowledged": {"cleared", "shelved", "out_of_service"},
    "returned_unacknowledged": {"cleared", "raised", "shelved", "out_of_service", "acknowledged", "reminder"},
    "shelved": {"unshelved", "out_of_service", "shelved", "acknowledged", "cleared", "raised"},
    "out_of_service": {"in_service"},
}


class Operator(RuleBasedStateMachine):
    """Any person at any time: whatever is ordered and observed, the state stays one of the standard's."""

    @initialize(latched=st.booleans(), on=st.integers(0, 100), off=st.integers(0, 100))
    def begin(self, latched, on, off):
        self.alarm = LimitAlarm(limit(latched=latched, on_delay_s=on, off_delay_s=off, deadband=4.0), "high")
        self.t, self.told = 0, []

    def hear(self, told):
        for step in told:
            before = self.told[-1].alarm.state if self.told else "normal"
            before = before if before != "suppressed_by_design" else "unacknowledged"
            assert step.what in ALLOWED[before], (before, step.what)
            assert not self.told or step.at >= self.told[-1].at
            self.told.append(step)

    @rule(value=LEVELS, seconds=st.integers(0, 200))
    def observe(self, value, seconds):
        self.t += s(seconds)
        self.hear(self.alarm.take(self.t, value))

    @rule(hours=st.integers(1, 60))
    def wait(self, hours):
        self.t += hours * HOUR_US
        self.hear(self.alarm.advance(self.t))

    @rule()
    def acknowledge(self):
        self.hear(self.alarm.acknowledge(self.t))

    @rule(hours=st.integers(1, 48))
    def shelve(self, hours):
        self.hear(self.alarm.shelve(self.t, self.t + hours * HOUR_US))

    @rule()
    def unshelve(self):
        self.hear(self.alarm.unshelve(self.t))

    @rule(out=st.booleans())
    def service(self, out):
        self.hear(self.alarm.out_of_service(self.t) if out else self.alarm.in_service(self.t))

    @rule(seconds=st.integers(1, 4000))
    def hush(self, seconds):
        self.alarm.hush(self.t + s(seconds))

    @rule()
    def unhush(self):
        self.hear(self.alarm.unhush(self.t))

    @invariant()
    def an_alarm_is_shown_exactly_when_it_is_not_normal(self):
        if hasattr(self, "alarm"):
            shown = self.alarm.shown()
            assert (shown is None) == (self.alarm.state_name() == "normal")
            assert shown is None or shown.state == self.alarm.state_name()

    @invariant()
    def nothing_is_told_more_than_daily_without_a_change(self):
        if hasattr(self, "alarm"):
            times = [t.at for t in self.told if t.what == "reminder"]
            assert all(b - a >= DAY_US for a, b in itertools.pairwise(times))


TestOperator = Operator.TestCase


@pytest.mark.parametrize("broken", ["on", "off"])
def test_the_slow_twin_finds_a_delay_that_is_off_by_a_second(broken):
    alarm = LimitAlarm(limit(on_delay_s=3.0, off_delay_s=3.0), "high")
    setattr(alarm, f"{broken}_us", s(2))
    values = [0.0, *[41.0] * 5, *[0.0] * 5]
    assert fed(alarm, values) != slow(values, 40.0, 0.0, 3, 3)
