"""What happened → letters: who is told what and when, under keys that make it once."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.alarms import Alarm, Transition
from monitor.base.results import Stand
from monitor.base.tables.notices import NoticesTable, Quiet
from monitor.base.vehicle import Vehicle
from monitor.service.notices import KINDS, Troubles, planner
from monitor.service.quiet import may_go_at
from monitor.store.entries import Letter

OSLO = ZoneInfo("Europe/Oslo")
MINUTE_US = 60_000_000
HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US


def us(text: str, zone: ZoneInfo = OSLO) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()) * 1_000_000


RAISED = us("2025-11-04T02:14")


def alarm(**changed: object) -> Alarm:
    values: dict[str, object] = {
        "limit": "sleep_current",
        "quantity": "sleep_current",
        "value": 0.34,
        "worst": 0.36,
        "unit": "A",
        "side": "high",
        "setpoint": 0.05,
        "priority": "high",
        "since": RAISED - 30 * MINUTE_US,
        "raised": RAISED,
        "state": "unacknowledged",
        "cause": "a load that does not switch off",
        "response": "survey the fuses, then pull one at a time",
        "detail": "340 mA since 01:44, 290 mA over the limit",
    }
    return Alarm.model_validate(values | changed)


def step(what: str, at: int = RAISED, **changed: object) -> Transition:
    return Transition.model_validate({"at": at, "what": what, "alarm": alarm(**changed)})


def car(**table: object) -> Vehicle:
    notices = {"destinations": [{"to": "env:PHONE", "name": "phone"}], **table}
    return Vehicle(name="estate car, blue", notices=NoticesTable.model_validate(notices))


def plan(*steps: Transition | Stand, vehicle: Vehicle | None = None, now: int | None = None) -> list[Letter]:
    events = list(enumerate(steps))
    return planner(vehicle or car(), OSLO)(events, steps[-1].at if now is None else now)  # type: ignore[union-attr]  # a stand comes with now


def test_a_raised_alarm_is_told_with_numbers_limit_since_cause_response_and_caution() -> None:
    (letter,) = plan(step("raised"))
    assert letter.subject == "[high] estate car, blue: sleep current 340 mA, limit 50 mA"
    assert letter.text == (
        "Sleep current 340 mA; high limit 50 mA, passed since Tue 4 Nov 2025 01:44, at worst 360 mA.\n"
        "340 mA since 01:44, 290 mA over the limit.\n"
        "Likely cause: a load that does not switch off.\n"
        "To do: survey the fuses, then pull one at a time.\n"
        "Caution: Never crank, or switch on more than 10 A, through a meter. Leave orange high-voltage cables and"
        " airbag (SRS) circuits to the trade. The service manual comes first."
    )
    assert (letter.to, letter.priority, letter.at_us, letter.due_us) == ("phone", "high", RAISED, RAISED)


def test_planned_twice_it_is_the_same_letter_whatever_its_number_and_the_time() -> None:
    events = [(7, step("raised")), (8, step("returned", RAISED + HOUR_US))]
    first = planner(car(), OSLO)(events, RAISED + HOUR_US)
    again = [letter for n, event in events for letter in planner(car(), OSLO)([(n + 900, event)], RAISED + 9 * HOUR_US)]
    assert [letter.key for letter in first] == [letter.key for letter in again]
    assert len({letter.key for letter in first}) == 2


def test_times_in_the_detail_are_told_by_the_local_clock_like_all_others() -> None:
    (letter,) = plan(
        step("raised", detail="asleep since 2025-11-03T21:17:25Z at 340 mA, above it since 2025-11-04T00:44:00Z")
    )
    assert "Asleep since Mon 3 Nov 22:17 at 340 mA, above it since 01:44." in letter.text


def test_a_worst_value_that_reads_like_the_value_and_a_manual_named_already_are_not_said_twice() -> None:
    (letter,) = plan(step("raised", worst=0.34002, response="look. The service manual of the vehicle prevails."))
    assert "at worst" not in letter.text
    assert letter.text.count("service manual") == 1


def test_each_destination_is_told_only_of_its_priorities() -> None:
    destinations = [
        {"to": "env:A", "priorities": ["critical"]},
        {"to": "env:B"},
        {"to": "env:C", "priorities": ["high"]},
    ]
    vehicle = car(destinations=destinations)
    assert [letter.to for letter in plan(step("raised"), vehicle=vehicle)] == ["env:B", "env:C"]
    assert [letter.to for letter in plan(step("raised", priority="critical"), vehicle=vehicle)] == ["env:A", "env:B"]
    assert [letter.to for letter in plan(step("raised", priority="low"), vehicle=vehicle)] == ["env:B"]


def test_normal_again_is_brief_and_follows_the_letter_of_the_alarm_at_each_destination() -> None:
    vehicle = car(destinations=[{"to": "env:A"}, {"to": "env:B"}])
    raised = plan(step("raised"), vehicle=vehicle)
    back = plan(step("returned", RAISED + 2 * HOUR_US, returned=RAISED + 2 * HOUR_US), vehicle=vehicle)
    assert [letter.after for letter in back] == [letter.key for letter in raised]
    assert back[0].subject == "[high] estate car, blue: normal again: sleep current"
    assert back[0].text == (
        "Sleep current: back within the high limit of 50 mA since Tue 4 Nov 2025 04:14, after 2 h 30 min beyond it,"
        " at worst 360 mA."
    )


def test_a_reminder_says_that_it_is_one_and_each_day_has_its_own() -> None:
    first = plan(step("reminder", RAISED + DAY_US, reminders=1))
    second = plan(step("reminder", RAISED + 2 * DAY_US, reminders=2))
    assert first[0].subject == "[high] estate car, blue: still: sleep current 340 mA, limit 50 mA"
    assert "Told again because nothing has changed since it was raised at Tue 4 Nov 2025 02:14." in first[0].text
    assert first[0].key != second[0].key
    assert "Likely cause" not in first[0].text
    assert "To do: survey the fuses" in first[0].text


@pytest.mark.parametrize("what", ["acknowledged", "shelved", "unshelved", "cleared", "out_of_service", "in_service"])
def test_what_a_person_did_is_not_told_to_that_person(what: str) -> None:
    assert plan(step(what)) == []


@pytest.mark.parametrize("state", ["shelved", "suppressed_by_design", "out_of_service"])
def test_an_alarm_that_is_put_aside_is_not_told(state: str) -> None:
    assert plan(step("raised", state=state)) == []


def test_a_silent_logger_is_told_as_a_trouble_of_its_link_and_not_a_second_time_as_an_alarm() -> None:
    assert plan(step("raised", limit="logger-silent", quantity="logger_silence", unit="s", value=900.0)) == []


def test_stands_and_drives_are_no_notices() -> None:
    assert plan(Stand(start=0, end=1), now=0) == []


@given(st.text(min_size=1, max_size=200), st.sampled_from(["raised", "returned", "reminder"]), st.floats(-1e12, 1e12))
def test_the_subject_is_one_line_of_at_most_80_characters_with_name_and_priority(
    name: str, what: str, value: float
) -> None:
    vehicle = car().model_copy(update={"name": name})
    (letter,) = plan(step(what, value=value, quantity="a_quantity_of_a_name_that_is_rather_long"), vehicle=vehicle)
    assert len(letter.subject) <= 80
    assert letter.subject.isprintable()
    assert letter.subject.startswith("[high] ")
    shown = "".join(c if c.isprintable() else "?" for c in name)
    assert letter.subject.removeprefix("[high] ").startswith(shown[:11].rstrip())


def test_an_unknown_value_is_called_unknown_and_not_zero() -> None:
    (letter,) = plan(step("raised", value=None, worst=None))
    assert letter.text.startswith("Sleep current unknown; high limit 50 mA")
    assert letter.subject == "[high] estate car, blue: sleep current, limit 50 mA"


QUIET = {"from": "22:00", "to": "07:00"}


def test_in_quiet_hours_a_letter_waits_for_their_end_and_what_may_break_them_does_not() -> None:
    vehicle = car(quiet=QUIET)
    assert plan(step("raised"), vehicle=vehicle)[0].due_us == us("2025-11-04T07:00")
    assert plan(step("raised", priority="critical"), vehicle=vehicle)[0].due_us == RAISED


def test_a_logger_whose_clock_is_days_ahead_does_not_hold_its_notices_back() -> None:
    ahead = step("raised", RAISED + 30 * DAY_US)
    assert plan(ahead, vehicle=car(quiet=QUIET), now=RAISED)[0].due_us == us("2025-11-04T07:00")
    assert plan(ahead, now=RAISED)[0].due_us == RAISED


@pytest.mark.parametrize(
    ("at", "goes"),
    [
        ("2025-03-29T21:59", "2025-03-29T21:59"),
        ("2025-03-29T22:00", "2025-03-30T07:00"),  # the clock is put forward in this night
        ("2025-03-30T06:59", "2025-03-30T07:00"),
        ("2025-03-30T07:00", "2025-03-30T07:00"),
        ("2025-10-25T23:30", "2025-10-26T07:00"),  # and back in this one
        ("2025-12-31T22:30", "2026-01-01T07:00"),
    ],
)
def test_quiet_hours_are_those_of_the_local_clock(at: str, goes: str) -> None:
    quiet = Quiet.model_validate(QUIET)
    assert may_go_at(us(at), "high", quiet, OSLO) == us(goes)


def test_quiet_hours_within_a_day_end_on_the_same_day() -> None:
    noon = Quiet.model_validate({"from": "12:00", "to": "13:30"})
    assert may_go_at(us("2025-11-04T12:10"), "high", noon, OSLO) == us("2025-11-04T13:30")
    assert may_go_at(us("2025-11-04T22:10"), "high", noon, OSLO) == us("2025-11-04T22:10")


def troubles(**table: object) -> Troubles:
    return Troubles(car(**table), OSLO)


def test_a_trouble_is_told_once_it_has_lasted_and_its_end_once() -> None:
    box = troubles(delays={"unplugged": "5 min"})
    start = us("2025-11-04T12:00")
    kept: dict[str, Letter] = {}
    for minute in range(60):
        now = start + minute * MINUTE_US
        if minute < 30:
            box.seen("unplugged", "/dev/ttyUSB0 is gone: plug it in again", now)
        else:
            box.over("unplugged", now)
        for letter in box.letters(now):
            kept.setdefault(letter.key, letter)
        assert len(kept) == (0 if minute < 5 else 1 if minute < 30 else 2)
    told, over = kept.values()
    assert told.subject == "[high] estate car, blue: the logger is unplugged"
    assert told.text == (
        "Since Tue 4 Nov 2025 12:00: the logger is unplugged; nothing is recorded.\n"
        "/dev/ttyUSB0 is gone: plug it in again."
    )
    assert over.text == "Since Tue 4 Nov 2025 12:30: the logger speaks again; the trouble lasted 30 min. Nothing to do."
    assert over.after == told.key


def test_a_trouble_shorter_than_its_delay_is_not_told() -> None:
    box = troubles()
    box.seen("silent", "", 0)
    box.over("silent", 9 * MINUTE_US)
    assert box.letters(20 * MINUTE_US) == []


def test_one_that_comes_and_goes_or_is_met_again_after_a_restart_is_told_once_a_day() -> None:
    start = us("2025-11-04T08:00")
    keys: set[str] = set()
    for hour in range(12):
        box = troubles()  # as after a restart
        box.seen("port_taken", "", start + hour * HOUR_US)
        keys |= {letter.key for letter in box.letters(start + hour * HOUR_US + 10 * MINUTE_US)}
        box.over("port_taken", start + hour * HOUR_US + 20 * MINUTE_US)
        keys |= {letter.key for letter in box.letters(start + hour * HOUR_US + 20 * MINUTE_US)}
    assert keys == {"port_taken 2025-11-04 → phone", "port_taken 2025-11-04 over → phone"}


def test_one_that_lasts_is_told_again_a_day_later_and_not_at_midnight() -> None:
    box = troubles()
    start = us("2025-11-04T23:00")
    box.seen("silent", "", start)
    told = [start + hour * HOUR_US for hour in range(50) if box.letters(start + hour * HOUR_US)]
    keys = {}
    for now in told:
        for letter in box.letters(now):
            keys.setdefault(letter.key, now - start)
    assert list(keys.values()) == [HOUR_US, 25 * HOUR_US, 49 * HOUR_US]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_words_and_a_delay(kind: str) -> None:
    box = troubles()
    box.seen(kind, "why", us("2025-11-04T12:00"))
    (letter,) = box.letters(us("2025-11-04T14:00"))
    assert len(letter.subject) <= 80
    assert "…" not in letter.subject


def test_an_unknown_kind_is_a_fault_of_the_program() -> None:
    with pytest.raises(ValueError, match="no trouble is called cosmic"):
        troubles().seen("cosmic", "", 0)


def test_times_are_told_in_the_zone_asked() -> None:
    (letter,) = planner(car(), UTC)([(0, step("raised"))], RAISED)
    assert "since Tue 4 Nov 2025 00:44" in letter.text
