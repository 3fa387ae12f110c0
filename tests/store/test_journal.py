import json
import os
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monitor.base.alarms import Alarm, AlarmState, Transition
from monitor.base.errors import StoreError
from monitor.base.ledger import Ledger, RefusedLine
from monitor.base.orders import Order
from monitor.base.samples import Block
from monitor.store.database import connect
from monitor.store.entries import Entry, Event, Given, Letter, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.making import DAY_US, FIRST_DAY, block, exactly, filled, home_in, plain, records

NOON = FIRST_DAY * DAY_US + DAY_US // 2


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return home_in(tmp_path)


def order(name: str) -> Order:
    return Order(id=name, at=NOON, kind="hush")


def test_what_was_fed_since_the_checkpoint_comes_back_in_order(home: Home) -> None:
    journal = Journal(home)
    journal.commit(Entry(block=block(NOON), checkpoint={"state": [1.5, None]}))
    fed = [block(NOON + 10_000_000), block(NOON + 20_000_000)]
    journal.commit(Entry(block=fed[0], advance_us=NOON + 15_000_000, orders=[order("a"), order("b")]))
    journal.commit(Entry(block=fed[1]))
    journal.close()

    resume = Journal(home).resume()
    assert resume.checkpoint == {"state": [1.5, None]}
    since = [exactly(item) if isinstance(item, Block) else item for item in resume.since]
    assert since == [exactly(fed[0]), NOON + 15_000_000, order("a"), order("b"), exactly(fed[1])]
    assert resume.last_us == int(fed[1].t_us[-1])


def test_without_a_checkpoint_it_begins_at_the_beginning(home: Home) -> None:
    journal = Journal(home)
    journal.commit(Entry(block=block(NOON)))
    resume = journal.resume()
    assert resume.checkpoint is None
    assert [exactly(item) for item in resume.since if isinstance(item, Block)] == [exactly(block(NOON))]
    assert resume.first_event == 0


def test_events_after_the_checkpoint_come_under_their_old_numbers(home: Home) -> None:
    journal = Journal(home)
    journal.commit(Entry(events=[(0, "stand", 1, "{}")], checkpoint={}))
    journal.commit(Entry(events=[(1, "stand", 2, '{"first": true}')]))
    journal.commit(Entry(events=[(1, "stand", 2, '{"first": false}')]))
    assert journal.resume().first_event == 1
    assert journal.resume().next_event == 2
    assert [r.body for r in records(home) if isinstance(r, Event)] == ["{}", '{"first": true}']


def test_numbers_below_zero_are_not_the_watchs(home: Home) -> None:
    journal = Journal(home)
    journal.commit(Entry(events=[(-480_000, "assessment", 7, "{}")], checkpoint={}))
    journal.commit(Entry(events=[(-480_000, "assessment", 8, "again")]))
    resume = journal.resume()
    assert (resume.first_event, resume.next_event, resume.last_event_us) == (0, 0, None)
    journal.close()
    assert Journal(home).resume().next_event == 0
    assert [r.body for r in records(home) if isinstance(r, Event)] == ["{}"]


def test_an_unreadable_checkpoint_costs_only_time(home: Home) -> None:
    journal = Journal(home)
    journal.commit(Entry(block=block(NOON), checkpoint={"n": 1}))
    journal.commit(Entry(block=block(NOON + 10_000_000), checkpoint={"n": 2}))
    with sqlite3.connect(home.journal) as other:
        other.execute("UPDATE checkpoint SET data = x'00' WHERE position = (SELECT max(position) FROM checkpoint)")
    other.close()
    resume = journal.resume()
    assert resume.checkpoint == {"n": 1}
    assert [exactly(item) for item in resume.since if isinstance(item, Block)] == [exactly(block(NOON + 10_000_000))]


def test_a_new_version_begins_afresh_and_tells_nothing_twice(home: Home) -> None:
    journal = filled(home, seconds=50)
    start = FIRST_DAY * DAY_US + DAY_US
    resume = journal.resume(afresh_us=start)
    assert resume.afresh
    assert resume.checkpoint is None
    assert resume.first_event == resume.next_event == 10
    assert min(int(item.t_us[0]) for item in resume.since if isinstance(item, Block)) == start


def test_an_order_that_comes_twice_is_carried_out_once(home: Home) -> None:
    journal = Journal(home)
    journal.commit(Entry(orders=[order("a")], outcomes={"a": "hushed until 8:00"}))
    journal.commit(Entry(orders=[order("a")]))
    assert journal.knows_order("a")
    assert not journal.knows_order("b")
    assert [r.order for r in records(home) if isinstance(r, Given)] == [order("a")]
    with JournalReader(home) as reader:
        found = reader.outcome("a")
    assert found is not None
    assert found.outcome == "hushed until 8:00"


def test_a_letter_planned_twice_is_one_letter(home: Home) -> None:
    journal = Journal(home)
    letter = Letter("7/phone", NOON, "high", "Drain", "80 mA since 2:10", to="phone")
    journal.commit(Entry(letters=[letter]))
    journal.letter_state(["7/phone"], "sending", NOON)
    journal.letter_state(["7/phone"], "sent", NOON + 1)
    journal.commit(Entry(letters=[replace(letter, text="another")]))
    with JournalReader(home) as reader:
        assert reader.letters("phone", NOON + 10) == []
        posted = reader.letter("7/phone")
        assert reader.letter_counts() == {("phone", "sent"): 1}
    assert posted is not None
    assert (posted.letter, posted.state, posted.attempts) == (letter, "sent", 1)


def test_letters_are_due_at_their_time_and_destination(home: Home) -> None:
    journal = Journal(home)
    journal.commit(
        Entry(letters=[Letter(f"{to}{due}", due, "low", "s", "t", to=to) for to in ("a", "b") for due in (30, 10, 20)])
    )
    with JournalReader(home) as reader:
        assert [p.letter.key for p in reader.letters("a", 20)] == ["a10", "a20"]


def test_open_alarms_are_those_whose_last_step_left_them_open(home: Home) -> None:
    def step(number: int, limit: str, state: AlarmState) -> tuple[int, str, int, str]:
        alarm = Alarm(
            limit=limit, quantity="sleep_current", unit="A", side="high", setpoint=0.05, priority="high",
            since=NOON, raised=NOON, state=state, cause="c", response="r",
        )  # fmt: skip
        return number, "transition", NOON, Transition(at=NOON, what="raised", alarm=alarm).model_dump_json()

    journal = Journal(home)
    journal.commit(Entry(events=[step(0, "drain", "unacknowledged"), step(1, "cold", "unacknowledged")]))
    journal.commit(Entry(events=[step(2, "drain", "acknowledged"), step(3, "cold", "normal")]))
    with JournalReader(home) as reader:
        assert [(a.limit, a.state) for a in reader.open_alarms()] == [("drain", "acknowledged")]


def test_the_books_of_input_survive(home: Home) -> None:
    journal = Journal(home)
    books = Ledger(duplicates=3, clock_steps=[(NOON, -2.5)], shift_us=7)
    books.refuse("not a number", RefusedLine("night.csv", 7, "x"), 2)
    books.samples = 10
    journal.commit(Entry(block=block(NOON), ledger=books))
    books.samples = 20  # only the count grows: not written each second, and counted all the same
    journal.commit(Entry(block=block(NOON + 5_000_000), ledger=books))
    journal.close()
    assert Journal(home).resume().ledger == books


def test_a_block_over_midnight_belongs_to_two_days(home: Home) -> None:
    journal = Journal(home)
    whole = block((FIRST_DAY + 1) * DAY_US - 300_000)
    journal.commit(Entry(block=whole))
    parts = [r.block for r in records(home) if isinstance(r, Samples)]
    assert [len(part) for part in parts] == [3, 7]
    assert np.concatenate([part.t_us for part in parts]).tolist() == whole.t_us.tolist()


def test_samples_that_are_not_later_are_refused_whole(home: Home) -> None:
    journal = Journal(home)
    journal.commit(Entry(block=block(NOON)))
    with pytest.raises(ValueError, match="later"):
        journal.commit(Entry(block=block(NOON), events=[(0, "stand", 1, "{}")]))
    assert [type(r) for r in records(home)] == [Samples]


def test_an_entry_is_written_whole_or_not_at_all(home: Home) -> None:
    journal = Journal(home)
    before = plain(records(home))
    with pytest.raises(sqlite3.Error):
        journal.commit(Entry(block=block(NOON), orders=[order("a")], events=[(0, "stand", 1, object())]))
    assert plain(records(home)) == before == []
    assert journal.commit(Entry(block=block(NOON))) == 1


def test_a_second_writer_is_refused_and_told_who_writes(home: Home) -> None:
    journal = Journal(home)
    with pytest.raises(StoreError, match=f"process {os.getpid()}") as refused:
        Journal(home)
    assert refused.value.kind == "held"
    journal.close()
    Journal(home).close()


def test_a_journal_of_a_later_version_is_left_alone(home: Home) -> None:
    Journal(home).close()
    other = connect(f"{home.journal.as_uri()}?mode=rw")
    other.execute("PRAGMA user_version = 99")
    other.close()
    before = home.journal.read_bytes()
    for opens in (Journal, JournalReader):
        with pytest.raises(StoreError, match="later version") as refused:
            opens(home)
        assert refused.value.kind == "newer"
    assert home.journal.read_bytes() == before


def test_no_journal_is_said(home: Home) -> None:
    with pytest.raises(StoreError) as refused:
        JournalReader(home)
    assert refused.value.kind == "missing"


def test_each_commit_is_asked_to_be_on_the_disk(home: Home) -> None:
    opened: list[sqlite3.Connection] = []

    def seam(uri: str) -> sqlite3.Connection:
        opened.append(connect(uri))
        return opened[-1]

    Journal(home, connect=seam)
    (writer,) = opened
    assert writer.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert writer.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL


def test_jobs_and_facts_are_remembered(home: Home) -> None:
    journal = Journal(home)
    assert journal.last_ran("archive") is None
    journal.job_ran("archive", 5)
    journal.note_fact("boot", json.dumps("id"))
    journal.close()
    with JournalReader(home) as reader:
        assert reader.last_ran("archive") == 5
        assert reader.fact("boot") == '"id"'
        assert reader.fact("other") is None
