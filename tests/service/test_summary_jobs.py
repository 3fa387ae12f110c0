"""The summaries as jobs: when they run, whom they go to, and that one day's goes out once."""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from monitor.assess.confirm import confirm
from monitor.base.fields import EPOCH
from monitor.base.results import Log, Mark, Result, Stand
from monitor.base.tables.notices import NoticesTable
from monitor.base.vehicle import Vehicle
from monitor.service.jobs import trigger_of
from monitor.service.summary import jobs, summary_cron, summary_letters
from monitor.views.summary import weekly_words

OSLO = ZoneInfo("Europe/Oslo")


def us(text: str) -> int:
    return (datetime.fromisoformat(text).replace(tzinfo=OSLO) - EPOCH) // timedelta(microseconds=1)


def car(**table: Any) -> Vehicle:
    destinations = [{"to": "env:PHONE", "name": "phone"}, {"to": "env:B", "summaries": False}]
    return Vehicle(name="van", notices=NoticesTable.model_validate({"destinations": destinations, **table}))


def test_a_summary_goes_to_those_who_want_it_once_a_local_day() -> None:
    first = summary_letters("morning", Result(vehicle="van"), car(), OSLO, us("2025-11-04T07:30"))
    again = summary_letters("morning", Result(vehicle="van"), car(), OSLO, us("2025-11-04T09:12"))
    assert [letter.to for letter in first] == ["phone"]
    assert [letter.key for letter in first] == [letter.key for letter in again] == ["morning 2025-11-04 → phone"]
    assert first[0].subject == "van: the night to Tue 4 Nov: nothing recorded"


def test_a_summary_does_not_break_quiet_hours() -> None:
    quiet = {"from": "22:00", "to": "08:00", "except": ["critical"]}
    (letter,) = summary_letters("weekly", Result(), car(quiet=quiet), OSLO, us("2025-11-03T07:30"))
    assert letter.due_us == us("2025-11-03T08:00")


def test_they_run_by_the_local_clock_also_when_it_is_put_forward() -> None:
    found = {job.name: trigger_of(job) for job in jobs(car(weekly="Sun 08:00"), OSLO)}
    before = datetime(2025, 3, 29, 12, tzinfo=UTC)
    assert found["morning summary"].get_next_fire_time(None, before).isoformat() == "2025-03-30T07:30:00+02:00"
    assert found["weekly summary"].get_next_fire_time(None, before).isoformat() == "2025-03-30T08:00:00+02:00"


def test_none_run_that_nobody_asked_for_or_would_get() -> None:
    assert summary_cron(car(morning=False, weekly=False), OSLO) == {}
    assert jobs(Vehicle(), OSLO) == []
    assert jobs(car(destinations=[{"to": "env:B", "summaries": False}]), OSLO) == []


def test_the_weekly_one_holds_how_the_proof_of_a_repair_stands() -> None:
    first, repair, last = (us(f"2025-11-0{day}T12:00") for day in (1, 4, 7))
    stands = [Stand(start=us(f"2025-11-0{day}T18:00"), end=us(f"2025-11-0{day + 1}T07:00")) for day in range(1, 7)]
    log = Log(first=first, last=last)
    found = Result(log=log, stands=stands, marks=[Mark(at=repair, kind="repair", text="fuse F12")])
    (letter,) = summary_letters("weekly", found, car(), OSLO, last)
    assert letter.text == weekly_words(found, last, OSLO, confirm(found, repair, OSLO)).text
    assert letter.text != weekly_words(found, last, OSLO, None).text


class Station:
    """A vehicle's service, as far as a job sees it: keeps what is committed."""

    def __init__(self) -> None:
        self.entries: list[Any] = []

    def document(self) -> Result:
        return Result(vehicle="van")

    def do(self, work: Any) -> Any:
        return work(self)

    def commit(self, entry: Any) -> int:
        self.entries.append(entry)
        return 1


def test_a_job_commits_its_letters_and_says_for_whom() -> None:
    station = Station()
    (morning, _) = jobs(car(), OSLO, clock=lambda: us("2025-11-04T07:30"))
    assert morning.run(station) == "put into the outbox for phone"  # type: ignore[arg-type]  # all of it that a job uses
    assert [letter.key for letter in station.entries[0].letters] == ["morning 2025-11-04 → phone"]
