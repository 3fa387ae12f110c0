"""The watch: what is told when, what orders do, and what a person sees of it."""

import numpy as np
import pytest

from monitor.base.alarms import Transition
from monitor.base.errors import SettingError
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.results import Drive, Mark, Stand
from monitor.base.samples import SECOND_US
from monitor.base.vehicle import Vehicle
from monitor.limits.board import SHELVED_MOST_US
from monitor.limits.rules import rules_text
from monitor.limits.watch import SHOWN_ALARMS, Watch
from tests.laws.logs import T0, Life
from tests.limits.limits import limit, rules

CAR = Vehicle()
DRAIN = limit("sleep_current", high=0.05, deadband=0.01, on_delay_s=900.0, off_delay_s=300.0, after_s=1800.0)
OVER = limit("volts", name="over", high=15.8, deadband=0.2, on_delay_s=10.0, off_delay_s=30.0, priority="critical")
LOW = limit("volts", name="low", low=11.0, deadband=0.3, on_delay_s=5.0, off_delay_s=5.0)
SILENT = limit("logger_silence", high=60.0)


def night(asleep_a=0.09, hours=1.5):
    """A crank, a drive, a shutdown, a night."""
    life = Life(1.0).spend(30, 12.6, -0.02).crank().spend(900, 14.2, 5.0).shutdown(asleep_a)
    return life.spend(hours * 3600, 12.6, -asleep_a)


def steps(events):
    return [(e.what, e.alarm.limit) for e in events if isinstance(e, Transition)]


def test_a_drain_is_told_in_the_night_and_not_at_its_end():
    block = night().done("drain").block
    watch = Watch(CAR, rules(DRAIN), None)
    events = watch.update(block)
    (told,) = [e for e in events if isinstance(e, Transition)]
    stand = watch.document(events).stands[-1]
    assert stand.open
    # the grace of half an hour, a look within ten minutes, a quarter of an hour of delay
    waited = (told.at - stand.start) / SECOND_US
    assert 45 * 60 <= waited <= 56 * 60
    assert told.alarm.value == pytest.approx(0.09, abs=1e-3)
    assert "asleep since" in told.alarm.detail


def test_grace_counts_from_the_true_beginning_of_the_stand():
    # a stop without a sharp step: certain only 20 minutes later; the grace is over by then all the same
    life = Life(1.0).spend(30, 12.6, -0.02).crank().spend(600, 14.2, 5.0).spend(5400, 12.7, -0.4)
    watch = Watch(CAR, rules(limit("standing_current", high=0.05, after_s=1500.0)), None)
    events = watch.update(life.done("slow").block)
    (told,) = [e for e in events if isinstance(e, Transition)]
    stand = watch.document(events).stands[-1]
    assert 1500 <= (told.at - stand.start) / SECOND_US <= 1560


def restless(life, minutes):
    """A vehicle that does not fall asleep."""
    for _ in range(minutes):
        life.spend(23, 12.5, -1.4).spend(37, 12.5, -0.4)
    return life


def test_a_vehicle_that_falls_asleep_just_in_time_raises_nothing_while_its_level_is_not_known_yet():
    awake = limit("time_to_sleep", high=4500.0)
    late = Life(1.0).spend(30, 12.6, -0.02).crank().spend(900, 14.2, 5.0)
    block = restless(late, 73).spend(7200, 12.6, -0.02).done("just in time").block
    watch = Watch(CAR, rules(awake), None)
    assert steps(watch.update(block)) == []
    assert 4300 <= watch.document([]).stands[-1].time_to_sleep_s <= 4500


def test_a_vehicle_that_does_not_fall_asleep_is_told_while_it_is_awake():
    awake = limit("time_to_sleep", high=4500.0)
    block = restless(Life(1.0).spend(30, 12.6, -0.02).crank().spend(900, 14.2, 5.0), 170).done("awake").block
    watch = Watch(CAR, rules(awake), None)
    events = watch.update(block)
    (told,) = [e for e in events if isinstance(e, Transition)]
    # the limit, a frame of ten minutes, and what a level over 100 mA needs to be one (an hour at most), to the minute
    assert 4500 <= (told.at - watch.document(events).stands[-1].start) / SECOND_US <= 4500 + 600 + 3600 + 60


def test_over_voltage_is_told_with_the_second_in_which_its_delay_runs_out():
    block = Life(1.0).crank().spend(100, 14.2, 5.0).spend(30, 16.2, 20.0).done("over").block
    watch, heard = Watch(CAR, rules(OVER), None), []
    for place in range(len(block)):
        for event in watch.update(block[place : place + 1]):
            heard.append((place, event))
    first = int(np.flatnonzero(block.volts > 16)[0])
    (place, told), *_ = [(p, e) for p, e in heard if isinstance(e, Transition)]
    # ten seconds above, told with the sample that ends the tenth
    assert place - first == 10
    assert told.at == (int(block.t_us[first]) // SECOND_US + 10) * SECOND_US
    assert told.alarm.since == int(block.t_us[first]) // SECOND_US * SECOND_US


def test_cranking_raises_no_low_volts_but_a_flat_battery_does():
    starts = Life(1.0).spend(100, 12.6, -0.02).spend(8, 9.0, -150.0).spend(60, 12.5, -5.0)
    flat = starts.spend(8, 9.0, -150.0).spend(300, 10.2, -5.0).done("flat").block
    watch = Watch(CAR, rules(LOW), None)
    (told,) = [e for e in watch.update(flat) if isinstance(e, Transition)]
    began = int(flat.t_us[100 + 8 + 60]) // SECOND_US * SECOND_US
    assert told.alarm.since == began + 30 * SECOND_US


def test_a_gap_is_no_voltage_collapse():
    low = limit("volts", low=11.9, on_delay_s=5.0)
    life = Life(1.0).spend(600, 12.6, -0.02).spend(3, 11.8, -0.02).pause(7200).spend(3, 11.8, -0.02)
    watch = Watch(CAR, rules(low), None)
    assert steps(watch.update(life.spend(600, 12.6, -0.02).done("gap").block)) == []


def test_after_a_charge_within_a_stand_the_grace_counts_anew():
    life = night(0.02, hours=1.0).spend(1800, 14.4, 3.0).spend(1500, 12.9, -0.09).spend(3600, 12.8, -0.02)
    watch = Watch(CAR, rules(DRAIN), None)
    events = watch.update(life.done("charged").block)
    assert len(watch.document(events).stands[-1].charges) == 1
    assert steps(events) == []


def test_the_loggers_silence_is_told_while_it_lasts_and_its_length_when_it_ends():
    watch = Watch(CAR, rules(SILENT), None)
    block = Life(1.0).spend(100, 12.6, -0.02).pause(600).spend(5, 12.6, -0.02).done("silent").block
    assert watch.update(block[:100]) == []
    last = int(block.t_us[99])
    assert watch.advance(last + 59 * SECOND_US) == []
    (told,) = watch.advance(last + 61 * SECOND_US)
    assert (told.what, told.at) == ("raised", last + 60 * SECOND_US)
    assert watch.advance(last + 400 * SECOND_US) == []
    (back,) = watch.update(block[100:])
    assert (back.what, back.alarm.worst) == ("returned", 601.0)


def test_findings_come_before_the_alarms_of_their_minute():
    block = night(hours=0.1).crank().spend(120, 14.2, 5.0).done("two").block
    watch = Watch(CAR, rules(limit("night_charge", high=0.01)), None)
    kinds = [type(e).__name__ for e in watch.update(block)]
    assert "Stand" in kinds
    assert "Drive" in kinds


# orders


def told(watch, kind, **more):
    count = len(watch.memory.orders)
    at = more.pop("at", watch.engine.binner.state.pending.t_us[-1] + 1)
    return watch.order(Order(id=f"{kind} {count}", at=int(at), kind=kind, **more))


@pytest.fixture
def alarmed():
    watch = Watch(CAR, rules(DRAIN, OVER, LOW), None)
    events = watch.update(night().done("drain").block)
    assert steps(events) == [("raised", "sleep-current")]
    return watch


def test_an_order_given_twice_is_carried_out_once(alarmed):
    order = Order(
        id="a", at=int(alarmed.engine.binner.state.pending.t_us[-1]), kind="acknowledge", limit="sleep-current"
    )
    assert steps(alarmed.order(order)) == [("acknowledged", "sleep-current")]
    assert alarmed.order(order.model_copy(update={"kind": "shelve"})) == []


def test_an_unknown_limit_is_refused_with_the_nearest_name(alarmed):
    with pytest.raises(SettingError) as wrong:
        told(alarmed, "acknowledge", limit="sleep-curent")
    assert "did you mean sleep-current?" in wrong.value.remedy


def test_an_alarm_is_shelved_for_a_week_at_most(alarmed):
    at = int(alarmed.engine.binner.state.pending.t_us[-1])
    (step,) = told(alarmed, "shelve", limit="sleep-current", at=at, until=at + 100 * SHELVED_MOST_US)
    assert step.alarm.shelved_until == at + SHELVED_MOST_US
    with pytest.raises(SettingError, match="later than now"):
        told(alarmed, "shelve", limit="sleep-current", at=at, until=at)


def test_while_working_on_the_car_everything_is_suppressed_and_grace_counts_anew(alarmed):
    told(alarmed, "hush")
    assert [a.state for a in alarmed.alarms()] == ["suppressed_by_design"]
    last = int(alarmed.engine.binner.state.pending.t_us[-1])
    life = Life(1.0, t_us=last + SECOND_US).spend(1200, 16.5, -3.0)
    assert steps(alarmed.update(life.done("work").block)) == []
    told(alarmed, "unhush")
    assert [a.state for a in alarmed.alarms()] == ["unacknowledged"]
    more = Life(1.0, t_us=life.t_us).spend(1500, 12.6, -0.01).done("after").block
    assert steps(alarmed.update(more)) == []  # its grace of half an hour is not over: not judged, so not returned


def test_it_says_until_when_it_is_hushed_and_which_rules_hold(alarmed):
    at = int(alarmed.engine.binner.state.pending.t_us[-1])
    assert alarmed.hushed_until is None
    told(alarmed, "hush", at=at, until=at + 600 * SECOND_US)
    assert alarmed.hushed_until == at + 600 * SECOND_US
    life = Life(1.0, t_us=at + SECOND_US).spend(1200, 12.6, -0.09)
    alarmed.update(life.done("work").block)
    assert alarmed.hushed_until is None
    told(alarmed, "hush")
    assert alarmed.hushed_until == -1
    told(alarmed, "rules", text=rules_text(rules(OVER)))
    assert alarmed.rules == rules(OVER)


def test_new_rules_keep_the_alarms_of_limits_that_are_the_same(alarmed):
    same = rules(DRAIN, limit("volts", name="over", high=16.0))
    assert steps(told(alarmed, "rules", text=rules_text(same))) == []
    assert [a.limit for a in alarmed.alarms()] == ["sleep-current"]
    assert steps(told(alarmed, "rules", text=rules_text(rules(OVER)))) == [("cleared", "sleep-current")]
    assert alarmed.alarms() == []


def test_rules_that_cannot_be_read_are_refused_and_nothing_changes(alarmed):
    with pytest.raises(SettingError, match="not rules"):
        told(alarmed, "rules", text="{}")
    assert [a.limit for a in alarmed.alarms()] == ["sleep-current"]


def test_restored_with_other_rules_what_is_gone_is_told_to_be_over(alarmed):
    watch = Watch.restore(CAR, rules(OVER), None, alarmed.snapshot())
    assert steps(watch.update(Life(1.0).spend(1, 12.6, -0.09).done("none").block[:0])) == [("cleared", "sleep-current")]


def test_the_service_may_observe_what_samples_do_not_hold():
    watch = Watch(CAR, rules(limit("disk_free", low=5e8, on_delay_s=60.0)), None)
    watch.update(night(hours=0.1).done("any").block)
    assert steps(told(watch, "observe", quantity="disk_free", value=1e8)) == []
    at = int(watch.engine.binner.state.pending.t_us[-1]) + 61 * SECOND_US
    assert steps(told(watch, "observe", quantity="disk_free", value=1e8, at=at)) == [("raised", "disk-free")]


def test_marks_stand_in_the_document(alarmed):
    at = int(alarmed.engine.binner.state.pending.t_us[-1])
    told(alarmed, "mark", mark=Mark(at=at, kind="fuse out", text="F23"), at=at)
    assert [mark.text for mark in alarmed.document([]).marks] == ["F23"]


# documents


def test_the_document_shows_each_alarm_as_it_stands_last_even_if_it_was_told_long_ago(alarmed):
    document = alarmed.document([], Ledger())
    assert [(a.limit, a.state) for a in document.alarms] == [("sleep-current", "unacknowledged")]
    told(alarmed, "acknowledge", limit="sleep-current")
    assert alarmed.document([]).alarms[0].state == "acknowledged"


def test_a_document_holds_some_hundred_alarms_at_most(alarmed):
    (alarm,) = alarmed.alarms()
    many = [
        Transition(at=k, what="raised", alarm=alarm.model_copy(update={"raised": k})) for k in range(2 * SHOWN_ALARMS)
    ]
    assert len(alarmed.document(many).alarms) == SHOWN_ALARMS


def test_memory_does_not_grow_with_the_log():
    watch = Watch(CAR, rules(DRAIN, SILENT, OVER), None)
    sizes, t_us = [], T0
    for _ in range(4):
        life = Life(1 / 300, t_us=t_us).spend(30, 12.6, -0.02).crank().spend(900, 14.2, 5.0).shutdown(0.09)
        block = life.spend(6 * 86400, 12.6, -0.09).done("six days").block
        t_us = life.t_us
        watch.update(block)
        sizes.append(len(watch.memory.kept))
        assert sum(len(b.samples) for b in watch.memory.waiting) <= 3  # ten minutes' worth
    assert sizes[3] <= sizes[2] + 2  # two weeks of quarter hours, and no more


def test_a_limit_that_is_switched_off_is_not_judged():
    watch = Watch(CAR, rules(limit("sleep_current", high=0.05, enabled=False)), None)
    assert steps(watch.update(night().done("drain").block)) == []


def test_stands_and_drives_are_told_as_by_the_engine():
    block = night(hours=0.2).crank().spend(120, 14.2, 5.0).shutdown().done("two").block
    ended = [e for e in Watch(CAR, rules(DRAIN), None).update(block) if isinstance(e, Stand | Drive)]
    assert [type(e).__name__ for e in ended] == ["Stand", "Drive", "Stand"]
