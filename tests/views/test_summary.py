"""The summaries of the demo logs and of what can go wrong: golden copies, and promises that no golden copy shows.

After a wanted change, rewrite the golden copies with KEYOFF_REWRITE=1 and read them aloud before committing.
"""

import os
import re
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.assess import assess
from monitor.assess.confirm import confirm
from monitor.base.alarms import Alarm
from monitor.base.fields import Span
from monitor.base.results import Drive, Log, Mark, Rest, Result, Stand, Verdict, WakeUp
from monitor.base.vehicle import Vehicle
from monitor.detect import Facts, replay
from monitor.sources import open_logs
from monitor.views.summary import MORNING_CHARS, WEEKLY_CHARS, morning_words, weekly_words

GOLDEN = Path(__file__).parent / "golden"
LOGS = Path(__file__).parents[2] / "replay_logs"
ZONE = ZoneInfo("Europe/Oslo")
HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
SHORT = ["one-event", "weak-battery", "short-trips", "undercharging", "repair-half-way", "sound-week"]


def us(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()) * 1_000_000


@cache
def demo(name: str) -> Result:
    log = open_logs([LOGS / f"{name}.csv.gz"], Vehicle().log, nominal_v=12.0)
    result = replay(log.blocks(), log.ledger, Facts.of(Vehicle()), name)
    return assess(result, Vehicle(), ZONE)


def last_of(result: Result) -> int:
    assert result.log.last is not None
    return result.log.last


@pytest.mark.parametrize("name", SHORT)
def test_both_summaries_of_a_demo_log_are_the_golden_copy(name: str) -> None:
    result = demo(name)
    morning, weekly = (words(result, last_of(result), ZONE) for words in (morning_words, weekly_words))
    text = "\n".join([morning.subject, morning.text, "", weekly.subject, weekly.text, ""])
    path = GOLDEN / f"summary_{name}.txt"
    if os.environ.get("KEYOFF_REWRITE"):
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")
    assert len(morning.text) <= MORNING_CHARS
    assert len(weekly.text) <= WEEKLY_CHARS
    assert max(len(morning.subject), len(weekly.subject)) <= 80


NOW = us("2025-11-04T07:30")


def wakes(number: int, every_s: float = 3660.0, group: int | None = 1) -> list[WakeUp]:
    start = us("2025-11-03T23:00")
    return [
        WakeUp(
            start=start + round(n * every_s * 1e6),
            end=start + round((n * every_s + 40) * 1e6),
            peak_a=0.5,
            excess_a=0.2,
            charge_ah=0.002,
            group=group,
        )
        for n in range(number)
    ]


def stand(**changed: Any) -> Stand:
    values: dict[str, Any] = {
        "start": us("2025-11-03T22:17"),
        "open": True,
        "settled_at": us("2025-11-03T22:41"),
        "time_to_sleep_s": 24 * 60.0,
        "sleep_current_a": 0.018,
        "charge_out_ah": 0.21,
        "rest": Rest(volts=12.61, settled=True, state_of_charge=0.9),
    }
    return Stand(**(values | changed))


def night(*stands: Stand, channels: tuple[str, ...] = ("volts", "amps"), **parts: Any) -> Result:
    log = Log(first=NOW - 3 * DAY_US, last=NOW, samples=9, channels=list(channels))  # type: ignore[arg-type]  # two of its words
    return Result(vehicle="estate car, blue", log=log, stands=list(stands), **parts)


def morning(result: Result, now: int = NOW) -> str:
    return morning_words(result, now, ZONE).text


def test_a_sound_night_is_told_as_a_person_would_tell_it() -> None:
    assert morning(night(stand(wake_ups=wakes(7)), verdict=Verdict(cause="sound", confidence=0.99))) == (
        "Stood from Mon 3 Nov 22:17, still standing: slept at 22:41 after 24 min at 18 mA; woke 7 times, about every"
        " 1 h 1 min, for 40 s at 200 mA more; 0.21 Ah went out. Rest voltage 12.61 V, settled; about 90 % charged."
        " No drive in the last 24 h. No alarm stands. Nothing to do."
    )


def test_wake_ups_without_rhythm_are_given_none() -> None:
    some = [*wakes(3), *(wake.model_copy(update={"start": wake.start + 7 * HOUR_US}) for wake in wakes(3, 60.0))]
    assert "every" not in morning(night(stand(wake_ups=some)))
    assert "woke once, for 40 s" in morning(night(stand(wake_ups=wakes(1))))
    assert "nothing woke it" in morning(night(stand()))


def alarm(**changed: Any) -> Alarm:
    values: dict[str, Any] = {
        "limit": "sleep_current",
        "quantity": "sleep_current",
        "value": 0.34,
        "unit": "A",
        "side": "high",
        "setpoint": 0.05,
        "priority": "high",
        "since": us("2025-11-04T02:14"),
        "raised": us("2025-11-04T02:44"),
        "state": "unacknowledged",
        "cause": "a load",
        "response": "survey the fuses.",
    }
    return Alarm(**(values | changed))


def test_a_standing_alarm_says_what_to_do_and_the_most_urgent_one_first() -> None:
    low = alarm(priority="low", quantity="decay", response="wait.")
    text = morning(night(stand(), alarms=[low, alarm()], verdict=Verdict(cause="sound", confidence=0.9)))
    assert "Alarms: sleep current since 02:14, fall of the rest voltage since 02:14." in text
    assert text.endswith("To do: survey the fuses.")
    assert "Nothing to do" not in text


@pytest.mark.parametrize("state", ["normal", "returned_unacknowledged", "shelved", "out_of_service"])
def test_an_alarm_that_no_longer_stands_asks_for_nothing(state: str) -> None:
    assert "No alarm stands." in morning(night(stand(), alarms=[alarm(state=state)]))


def test_a_named_cause_says_what_to_do_and_a_mere_suspicion_does_not_claim_that_all_is_well() -> None:
    sure = Verdict(cause="battery", confidence=0.97, next=["Clean the posts.", "Charge it."])
    assert "Verdict on 3 days: The battery itself is weak (97 % sure). To do: Clean the posts." in morning(
        night(stand(), verdict=sure)
    )
    unsure = morning(night(stand(), verdict=sure.model_copy(update={"confidence": 0.75})))
    assert unsure.endswith("A suspicion so far (battery, 75 % sure); keep logging.")
    nothing = morning(night(stand(), verdict=Verdict(cause="undetermined", confidence=0.0)))
    assert nothing.endswith("Too little was seen for a verdict; keep logging.")


def test_a_night_that_was_not_recorded_is_unknown_and_the_logger_is_to_be_seen_to() -> None:
    text = morning(night(stand()), NOW + 2 * DAY_US)
    assert text.startswith("Nothing was recorded since Tue 4 Nov 2025 07:30: the night is unknown.")
    assert text.endswith("To do: see to the logger, its cable and its supply.")
    assert morning(Result()).startswith("Nothing was recorded yet: the night is unknown.")
    assert "Nothing to do" not in text


UNKNOWNS: dict[str, Result] = {
    "no current": night(stand(sleep_current_a=None, settled_at=None, charge_out_ah=None), channels=("volts",)),
    "no sleep": night(stand(sleep_current_a=None, settled_at=None, time_to_sleep_s=None)),
    "no rest": night(stand(rest=Rest())),
    "a drive without charge": night(stand(), drives=[Drive(start=NOW - 2 * HOUR_US, end=NOW - HOUR_US)]),
}


@pytest.mark.parametrize("result", UNKNOWNS.values(), ids=UNKNOWNS.keys())
def test_what_is_unknown_is_said_to_be_and_never_zero(result: Result) -> None:
    for text in (morning(result), weekly_words(result, NOW, ZONE).text):
        assert "unknown" in text
        assert not re.search(r"(?<![\d.:])0(\.0+)? (m?A|m?Ah|V|mV|%|s|min)\b", text), text


def test_a_car_that_was_driven_all_night_was_not_seen_standing() -> None:
    assert morning(night()).startswith("The vehicle was not seen standing in the night.")


def test_the_night_is_told_and_not_the_longer_stand_of_the_day_before() -> None:
    day = stand(start=us("2025-11-03T06:00"), end=us("2025-11-03T22:10"), open=False, sleep_current_a=0.5)
    assert "at 18 mA" in morning(night(day, stand()))


def test_of_a_car_that_has_stood_for_days_the_wake_ups_of_the_last_day_are_counted() -> None:
    old = [
        wake.model_copy(update={"start": wake.start - 2 * DAY_US, "end": wake.end - 2 * DAY_US}) for wake in wakes(5)
    ]
    start = us("2025-10-31T18:00")
    text = morning(night(stand(start=start, settled_at=start + HOUR_US, wake_ups=[*old, *wakes(2)])))
    assert "woke 2 times in the last 24 h" in text


def test_hidden_time_and_failed_starts_are_told() -> None:
    text = morning(night(stand(unobserved_s=7200.0, charges=[Span(start=NOW - HOUR_US, end=NOW)])))
    assert "it was on a charger; 2 h not observed" in text


def test_a_long_text_gives_up_details_and_never_what_to_do() -> None:
    long = alarm(response="Do this. " + "And then a further thing that takes some words. " * 20)
    many = [alarm(quantity=f"a_quantity_with_a_rather_long_name_{n}_of_many_words", response="x") for n in range(9)]
    text = morning(night(stand(wake_ups=wakes(8)), alarms=[long, *many]))
    assert len(text) <= MORNING_CHARS
    assert "To do: Do this." in text
    assert " and 7 more." in text


def test_the_week_tells_each_night_and_how_the_proof_of_a_repair_stands() -> None:
    result = demo("repair-half-way")
    at = us("2025-04-11T14:13")  # as its scenario has it
    text = weekly_words(result, last_of(result), ZONE, confirm(result, at, ZONE)).text
    assert "Thu 10 Apr: 441 mA, woke 41 times.\nFri 11 Apr: 21 mA, not woken." in text
    assert re.search(r"^Repair: (Proven|Not yet proven)", text, re.MULTILINE)


def test_a_mark_in_a_document_without_a_log_is_no_trouble() -> None:
    empty = Result(marks=[Mark(at=0, kind="repair", text="")])
    assert "how it sleeps is unknown" in weekly_words(empty, NOW, ZONE).text


def test_a_long_name_gives_way_in_the_subject() -> None:
    words = morning_words(night(stand()).model_copy(update={"vehicle": "n" * 200}), NOW, ZONE)
    assert len(words.subject) <= 80
    assert words.subject.endswith("…: the night to Tue 4 Nov: no alarm")
