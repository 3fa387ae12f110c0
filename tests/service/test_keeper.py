"""The keeper on a real journal: one entry a second, nothing lost and nothing twice, whatever goes wrong around it."""

import json
from pathlib import Path

import numpy as np
import pytest

from monitor.base.results import Mark
from monitor.service import inbox
from monitor.service.guard import Guard
from monitor.service.keeper import DROPPED, FAULTY, OLD
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.service.fakes import EPOCH_US, Bench, FakeWatch, arrival, bench, order

MINUTE_US = 60_000_000
HOUR_US = 60 * MINUTE_US


def kept(made: Bench) -> list[int]:
    """Times of all samples in the journal."""
    with JournalReader(made.home) as reader:
        return [int(t) for block in reader.blocks() for t in block.t_us]  # type: ignore[union-attr]  # none are lost


def numbers(made: Bench) -> list[int]:
    with JournalReader(made.home) as reader:
        return [event.number for event in reader.events()]


def test_what_arrives_is_in_the_journal_within_a_second(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US)
    assert len(kept(made)) == 10
    assert made.keeper.last_us == EPOCH_US + 900_000


def test_arrivals_of_a_second_become_one_entry(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US)
    before = made.keeper.position
    for k in range(10):
        made.reader.put(arrival(EPOCH_US + 1_000_000 + 100_000 * k, count=1))
        made.step(0.1)
    made.step(0.5)
    assert len(kept(made)) == 20
    assert made.keeper.position == before + 1


def test_an_alarm_its_letter_and_its_samples_are_one_transaction(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US, volts=11.0)
    with JournalReader(made.home) as reader:
        (event,) = reader.events()
        assert (event.number, event.kind, event.t_us) == (0, "transition", EPOCH_US)
        assert json.loads(event.body)["what"] == "raised"
    assert [alarm.limit for alarm in made.keeper.alarms] == ["volts_low"]


def test_after_a_crash_the_same_events_keep_their_numbers(tmp_path: Path) -> None:
    made = bench(tmp_path)
    for minute in range(30):
        made.hear(EPOCH_US + minute * MINUTE_US, volts=11.0)
    assert numbers(made) == list(range(30))
    made.journal.close()  # as a killed process leaves it: no last entry, no checkpoint
    again = bench(tmp_path, made.clock)
    assert again.watch.seen == 300
    again.hear(EPOCH_US + 30 * MINUTE_US, volts=11.0)
    assert numbers(again) == list(range(31))


def test_a_clean_end_leaves_a_checkpoint_and_nothing_is_thought_over_again(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US)
    made.keeper.close()
    resumed = bench(tmp_path, made.clock).journal.resume()
    assert resumed.checkpoint == {"version": 1, "seen": 10, "minute": -1}
    assert list(resumed.since) == []


def test_a_checkpoint_comes_every_ten_minutes_of_data(tmp_path: Path) -> None:
    made = bench(tmp_path)
    for minute in range(25):
        made.hear(EPOCH_US + minute * MINUTE_US)
    made.journal.close()
    again = bench(tmp_path, made.clock)
    assert sum(len(item) for item in again.journal.resume().since if not isinstance(item, int)) == 40  # type: ignore[arg-type]  # blocks


def test_state_of_another_version_is_worked_out_again_and_tells_nothing_twice(tmp_path: Path) -> None:
    made = bench(tmp_path)
    for minute in range(5):
        made.hear(EPOCH_US + minute * MINUTE_US, volts=11.0)
    made.keeper.close()

    class Newer(FakeWatch):
        version = 2

    again = bench(tmp_path, made.clock, Newer, Newer.restore)
    assert again.watch.seen == 50
    assert numbers(again) == list(range(5))
    again.hear(EPOCH_US + 5 * MINUTE_US, volts=11.0)
    assert numbers(again) == list(range(6))


def test_a_fault_of_the_watch_that_passes_is_repaired_by_the_checkpoint(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US, volts=11.0)
    made.watch.fails_at = 1
    made.hear(EPOCH_US + MINUTE_US, volts=11.0)
    assert made.keeper.guard.state == "rebuilt"
    assert made.watch.seen == 20
    assert numbers(made) == [0, 1]


def test_a_fault_of_the_watch_that_stays_leaves_the_samples_coming(tmp_path: Path) -> None:
    class Broken(FakeWatch):
        def __init__(self) -> None:
            super().__init__()
            self.fails_at = 15

    made = bench(tmp_path, None, Broken, lambda snapshot: Broken())
    for second in range(4):
        made.hear(EPOCH_US + second * 1_000_000)
    assert made.keeper.guard.state == "off"
    assert len(kept(made)) == 40
    assert "broken on purpose" in made.troubles.now["watch_fault"]
    assert made.keeper.guard.checkpoint() is None


def test_a_fault_in_telling_what_the_vehicle_does_is_told_once_and_harms_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(self: FakeWatch) -> None:
        raise ZeroDivisionError("broken on purpose")

    monkeypatch.setattr(FakeWatch, "condition", broken)
    guard = Guard(FakeWatch, FakeWatch.restore, Journal(Home(tmp_path)).resume)  # type: ignore[arg-type]  # a stand-in
    guard.start()
    assert [guard.condition() for _ in range(3)] == [None] * 3
    assert [record.levelname for record in caplog.records] == ["ERROR"]
    assert guard.state == "on"


def test_rows_that_the_program_cannot_read_are_counted_and_the_next_ones_taken(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.feed.broken = True
    made.hear(EPOCH_US)
    made.feed.broken = False
    made.hear(EPOCH_US + MINUTE_US)
    assert made.feed.ledger.refused == {FAULTY: 10}
    assert len(kept(made)) == 10


def test_samples_that_are_not_later_than_the_journal_are_counted_not_written(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US)
    made.hear(EPOCH_US + 500_000)
    assert made.feed.ledger.refused == {OLD: 5}
    assert np.all(np.diff(kept(made)) > 0)
    assert made.watch.seen == 15


def test_an_order_is_carried_out_once_at_its_place_and_answered(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US, volts=11.0)
    given = order("acknowledge", limit="volts_low")
    inbox.put(made.home, given)
    made.step()
    answer = inbox.await_answer(made.home, given, 0.0)
    assert answer == inbox.Answer(True, '"volts_low" acknowledged')
    assert inbox.waiting(made.home) == []
    inbox.put(made.home, given)  # as after a crash between the entry and the answer
    made.step()
    assert numbers(made) == [0, 1]
    assert inbox.await_answer(made.home, given, 0.0) is not None


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (order("acknowledge", limit="volts_low"), "has no alarm standing"),
        (order("acknowledge", limit="nonsense"), 'no limit "nonsense" in the rules; known: volts_low'),
        (order("shelve", limit="volts_low", until=5), "has passed"),
        (order("rules", text="{}"), "an order of the service's own"),
        (order("mark"), "without what to note"),
    ],
)
def test_an_order_that_cannot_be_carried_out_is_refused_with_its_reason(
    tmp_path: Path, given: inbox.Order, says: str
) -> None:
    made = bench(tmp_path)
    inbox.put(made.home, given)
    made.step()
    answer = inbox.await_answer(made.home, given, 0.0)
    assert answer is not None
    assert not answer.done
    assert says in answer.text
    assert not made.journal.knows_order(given.id)


def test_a_file_in_the_inbox_that_is_no_order_is_taken_away_and_told(tmp_path: Path) -> None:
    made = bench(tmp_path)
    (made.home.inbox / "0-x.order").write_text('{"kind": "acknowledge"')
    made.step()
    assert inbox.waiting(made.home) == []
    assert json.loads((made.home.inbox / "0-x.answer").read_text())["done"] is False


def test_an_order_that_comes_again_after_a_crash_before_its_answer_is_answered_only(tmp_path: Path) -> None:
    made = bench(tmp_path)
    given = order("mark", mark=Mark(at=EPOCH_US, kind="note", text="once"))
    for _ in range(2):
        inbox.put(made.home, given)
        made.step()
        assert inbox.await_answer(made.home, given, 0.0) == inbox.Answer(True, 'noted: "once"')
    assert made.watch.ordered == [given.id]


def test_a_mark_lies_in_the_journal_at_its_place(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US)
    inbox.put(made.home, order("mark", mark=Mark(at=EPOCH_US, kind="fuse out", text="fuse 23")))
    made.hear(EPOCH_US + MINUTE_US)
    with JournalReader(made.home) as reader:
        (noted,) = reader.orders()
        assert noted.order.mark is not None
        assert noted.order.mark.text == "fuse 23"
        assert noted.outcome == 'noted: "fuse 23"'


def test_after_a_restart_what_the_service_sees_waits_for_a_logger_whose_clock_is_another(tmp_path: Path) -> None:
    """Else it would carry data time to this computer's clock, and the logger would count as silent since."""
    made = bench(tmp_path)
    made.hear(EPOCH_US - 500 * HOUR_US)
    made.journal.close()
    again = bench(tmp_path, made.clock)
    again.keeper.give(order("observe", again.clock.wall_us, quantity="disk_free", value=1e9))
    again.step()
    assert again.watch.ordered == []
    again.hear(EPOCH_US - 500 * HOUR_US + 10 * MINUTE_US)
    again.step()
    with JournalReader(again.home) as reader:
        (seen,) = [kept.order for kept in reader.orders()]
    assert again.keeper.last_us is not None
    assert abs(seen.at - again.keeper.last_us) < MINUTE_US


def test_a_silent_logger_lets_data_time_go_on(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.hear(EPOCH_US)
    for _ in range(200):
        made.step(1.5)
    assert [(t - EPOCH_US) // MINUTE_US for t in made.watch.advanced] == [1, 2, 3, 4]
    made.journal.close()
    assert bench(tmp_path, made.clock).watch.advanced == made.watch.advanced


def test_work_for_the_journal_is_done_between_the_entries(tmp_path: Path) -> None:
    made = bench(tmp_path)
    done = made.keeper.post(lambda journal: journal.position)
    failed = made.keeper.post(lambda journal: 1 // 0)
    assert not done.done()
    made.step(0.0)
    assert done.result(0) == made.keeper.position
    assert isinstance(failed.exception(0), ZeroDivisionError)


def test_rows_dropped_before_the_keeper_are_counted(tmp_path: Path) -> None:
    made = bench(tmp_path)
    made.reader._most = 1
    made.hear(EPOCH_US)
    assert made.feed.ledger.refused == {DROPPED: 10}
    assert made.keeper.dropped == 10
