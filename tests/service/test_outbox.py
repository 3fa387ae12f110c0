"""The delivery of the outbox: each notice once, in order, with what became of it; no step waits for real time."""

from dataclasses import dataclass, field
from datetime import UTC
from itertools import pairwise

import pytest

from monitor.base.errors import KeyoffError
from monitor.base.tables.notices import NoticesTable
from monitor.base.vehicle import Vehicle
from monitor.service.destinations import Outcome
from monitor.service.outbox import LONGEST_RETRY_S, Round
from tests.service.post_office import MINUTE_US, Outbox, letter

HOUR_US = 60 * MINUTE_US
NOON = 12 * HOUR_US


@dataclass
class Scene:
    """One destination with a clock, an outbox, and answers that it gives one after the other; then it takes all."""

    table: NoticesTable
    outbox: Outbox = field(default_factory=Outbox)
    answers: list[Outcome] = field(default_factory=list)
    sent: list[tuple[str, str]] = field(default_factory=list)
    tried: list[tuple[str, str]] = field(default_factory=list)
    now: int = NOON
    seen_states: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        self.round = Round(
            self.table.destinations[0],
            self.table,
            UTC,
            reader=self.outbox.reader,
            post=self.outbox.post,
            clock=lambda: self.now,
            sender=self.send,
        )

    def send(self, place: str, subject: str, text: str) -> Outcome:
        self.seen_states = [kept.state for kept in self.outbox.kept.values()]
        self.tried.append((subject, text))
        outcome = self.answers.pop(0) if self.answers else Outcome("sent")
        if outcome.fate == "sent":
            self.sent.append((subject, text))
        return outcome

    def run(self, minutes: float) -> None:
        """Let so much time pass, looking as often as the round asks."""
        end = self.now + round(minutes * MINUTE_US)
        while self.now <= end:
            self.now += max(round(self.round.step() * 1e6), 1_000_000)


def scene(**table: object) -> Scene:
    destinations = [{"to": "env:PHONE", "name": "phone"}]
    return Scene(NoticesTable.model_validate({"destinations": destinations, **table}))


def test_a_letter_goes_out_once_and_is_journalled_as_sending_before_and_as_sent_after() -> None:
    at = scene()
    at.outbox.put(letter("a", due_us=NOON))
    at.run(10)
    assert at.sent == [("[high] van: a", "text of a")]
    assert at.seen_states == ["sending"]
    assert at.outbox.states() == {"a": "sent"}


def test_what_was_sent_is_not_sent_again_after_a_restart_or_when_it_is_planned_again() -> None:
    at = scene()
    at.outbox.put(letter("a", due_us=NOON))
    at.run(1)
    at.restart()
    at.outbox.put(letter("a", due_us=NOON))
    at.run(120)
    assert len(at.tried) == 1


def test_a_letter_waits_for_its_time() -> None:
    at = scene()
    at.outbox.put(letter("a", due_us=NOON + 30 * MINUTE_US))
    at.run(29)
    assert at.tried == []
    at.run(2)
    assert len(at.sent) == 1


def test_an_outage_is_retried_ever_more_seldom_but_at_least_each_hour_until_it_ends() -> None:
    at = scene()
    at.answers = [Outcome("failed", "cannot be reached")] * 12
    at.outbox.put(letter("a", due_us=NOON))
    tries = []
    while not at.sent:
        before = len(at.tried)
        at.now += max(round(at.round.step() * 1e6), 1_000_000)
        if len(at.tried) > before:
            tries.append(at.now)
    apart = [round((b - a) / MINUTE_US) for a, b in pairwise(tries)]
    assert apart == [1, 2, 4, 8, 16, 32, 60, 60, 60, 60, 60, 60]
    assert at.outbox.states() == {"a": "sent"}


def test_the_order_within_a_destination_holds_through_an_outage() -> None:
    at = scene()
    at.answers = [Outcome("failed", "cannot be reached")]
    at.outbox.put(letter("first", due_us=NOON))
    at.run(0.5)
    at.outbox.put(letter("second", due_us=NOON + 1))
    at.run(5)
    assert len(at.sent) == 1  # both at once, as one message
    subject, text = at.sent[0]
    assert subject == "[high] van: first (+1 more)"
    assert text.startswith(
        "2 notices, the oldest first.\n\n1. [high] van: first\ntext of first\n\n2. [high] van: second"
    )
    assert at.outbox.states() == {"first": "sent", "second": "sent"}


def test_a_critical_notice_is_tried_at_once_although_the_destination_was_down_and_then_waits_like_all() -> None:
    at = scene()
    at.answers = [Outcome("failed", "cannot be reached")] * 9
    at.outbox.put(letter("a", due_us=NOON))
    at.run(100)
    before = len(at.tried)
    at.outbox.put(letter("b", due_us=at.now - 1))
    at.run(1)
    assert len(at.tried) == before
    at.outbox.put(letter("c", due_us=at.now - 1, priority="critical"))
    at.run(5)
    assert len(at.tried) == before + 1
    assert at.tried[-1][0] == "[critical] van: c (+2 more)"


def test_a_late_notice_says_so_and_when_it_happened() -> None:
    at = scene()
    at.answers = [Outcome("failed", "cannot be reached")] * 5
    at.outbox.put(letter("a", due_us=NOON))
    at.run(40)
    assert at.sent[0][1].startswith(
        "Late: happened at Thu 1 Jan 1970 12:00, could not be sent before Thu 1 Jan 1970 12:31."
    )


def test_a_notice_that_is_a_few_minutes_old_does_not_call_itself_late() -> None:
    at = scene()
    at.answers = [Outcome("failed", "cannot be reached")] * 2
    at.outbox.put(letter("a", due_us=NOON))
    at.run(10)
    assert "Late" not in at.sent[0][1]


def test_what_is_refused_for_good_is_kept_with_the_reason_and_lets_the_next_one_pass() -> None:
    at = scene()
    at.answers = [Outcome("refused", "the destination answered 400")]
    at.outbox.put(letter("a", due_us=NOON))
    at.round.step()
    at.outbox.put(letter("b", due_us=NOON + 1))
    at.run(1)
    assert at.outbox.states() == {"a": "refused", "b": "sent"}
    assert at.outbox.kept["a"].why == "the destination answered 400"
    assert (at.round.health()["refused"], at.round.health()["refused_why"]) == (1, "the destination answered 400")


def test_a_message_of_several_that_is_refused_is_sent_again_one_by_one() -> None:
    at = scene()
    at.answers = [Outcome("refused", "the destination answered 413"), Outcome("refused", "no"), Outcome("sent")]
    at.outbox.put(letter("a", due_us=NOON), letter("b", due_us=NOON))
    at.run(1)
    assert at.outbox.states() == {"a": "refused", "b": "sent"}
    assert [subject for subject, _ in at.tried[1:]] == ["[high] van: a", "[high] van: b"]


def test_a_destination_that_lets_nobody_in_is_tried_each_hour_and_nothing_is_lost() -> None:
    at = scene()
    at.answers = [Outcome("barred", "the destination answered 401")] * 2
    at.outbox.put(letter("a", due_us=NOON))
    at.run(59)
    assert len(at.tried) == 1
    assert at.round.health()["trouble"] == "the destination answered 401"
    at.run(LONGEST_RETRY_S / 60 + 2)
    assert at.outbox.states() == {"a": "sent"}
    assert at.round.health()["trouble"] == ""


def test_an_answer_that_never_came_makes_the_next_one_say_that_it_may_be_a_repeat() -> None:
    at = scene()
    at.answers = [Outcome("unsure", "not confirmed"), Outcome("failed", "cannot be reached")]
    at.outbox.put(letter("a", due_us=NOON))
    at.run(10)
    assert "may have this already" not in at.tried[0][1]
    assert at.tried[1][1].startswith("You may have this already: an earlier sending was cut off")
    assert at.tried[2][1].startswith("You may have this already")  # the clean failure between does not take it back
    assert at.outbox.states() == {"a": "sent"}


def test_a_letter_that_was_being_sent_when_the_service_ended_is_sent_once_more_and_says_so() -> None:
    at = scene()
    at.outbox.put(letter("a", due_us=NOON), letter("b", due_us=NOON))
    at.outbox.letter_state(["a"], "sending", NOON)
    at.restart()
    at.run(60)
    assert len(at.sent) == 1
    assert "1. [high] van: a\nYou may have this already" in at.sent[0][1]
    assert at.sent[0][1].count("You may have this already") == 1


def test_nothing_is_sent_that_could_not_be_journalled_as_sending() -> None:
    at = scene()
    at.outbox.put(letter("a", due_us=NOON))
    at.outbox.broken = KeyoffError("the disk is full", "make room")
    at.run(30)
    assert at.tried == []
    assert "the disk is full" in at.round.health()["trouble"]
    at.outbox.broken = None
    at.run(1)
    assert at.outbox.states() == {"a": "sent"}
    assert at.round.health()["trouble"] == ""


def test_what_the_journal_cannot_take_goes_out_from_memory_and_is_not_sent_again_later() -> None:
    at = scene()
    full = letter("disk_full 1970-01-01", due_us=NOON)
    at.round.hold(full)
    at.round.hold(full)
    at.run(1)
    assert len(at.sent) == 1
    at.round.hold(full)
    at.outbox.put(full)
    at.run(1)
    assert len(at.tried) == 1
    assert at.outbox.states() == {full.key: "sent"}


def test_what_was_sent_but_could_not_be_journalled_as_sent_is_not_sent_again() -> None:
    at = scene()
    at.outbox.put(letter("a", due_us=NOON))
    write = at.outbox.letter_state

    def full_once_it_is_sent(keys: list[str], state: str, at_us: int, why: str = "") -> None:
        if state == "sent" and not full:
            full.append(True)
            raise KeyoffError("the disk is full", "make room")
        write(keys, state, at_us, why)

    full: list[bool] = []
    at.outbox.letter_state = full_once_it_is_sent  # type: ignore[method-assign,assignment]  # the outbox is this test's own
    at.run(5)
    assert (full, len(at.tried), at.outbox.states()) == ([True], 1, {"a": "sent"})


def test_the_age_of_what_waits_is_told_while_something_keeps_it() -> None:
    at = scene()
    at.answers = [Outcome("failed", "cannot be reached")] * 3
    at.outbox.put(letter("a", due_us=NOON))
    at.run(2)
    assert at.round.health()["oldest_waiting_s"] >= 120.0
    at.run(20)
    assert at.round.health()["oldest_waiting_s"] == 0.0


def test_normal_again_is_told_only_where_the_alarm_was() -> None:
    at = scene()
    at.answers = [Outcome("refused", "no")]
    at.outbox.put(letter("raised", due_us=NOON))
    at.round.step()
    at.outbox.put(
        letter("returned", due_us=NOON + 1, after="raised"), letter("other", due_us=NOON + 1, after="unheard")
    )
    at.run(1)
    assert at.outbox.states() == {"raised": "refused", "returned": "dropped", "other": "dropped"}
    assert len(at.tried) == 1


def test_an_alarm_that_was_over_before_it_could_be_told_is_told_with_its_end_as_one_message() -> None:
    at = scene()
    at.outbox.put(letter("raised", due_us=NOON), letter("returned", due_us=NOON, after="raised"))
    at.run(1)
    assert [subject for subject, _ in at.sent] == ["[high] van: raised (+1 more)"]


QUIET = {"quiet": {"from": "22:00", "to": "07:00", "except": ["critical"]}}


def test_quiet_hours_hold_back_even_what_was_due_before_them_and_several_go_as_one_at_their_end() -> None:
    at = scene(**QUIET)
    at.now = 22 * HOUR_US
    at.outbox.put(letter("a", due_us=22 * HOUR_US - 1), letter("b", due_us=31 * HOUR_US))
    at.run(9 * 60 - 1)
    assert at.tried == []
    at.run(3)
    assert [subject for subject, _ in at.sent] == ["[high] van: a (+1 more)"]


def test_what_may_break_quiet_hours_does() -> None:
    at = scene(**QUIET)
    at.now = 23 * HOUR_US
    at.outbox.put(letter("a", due_us=at.now - 2), letter("b", due_us=at.now - 1, priority="critical"))
    at.run(1)
    assert [subject for subject, _ in at.sent] == ["[critical] van: b"]


def test_a_clock_that_is_set_back_does_not_stop_the_notices() -> None:
    at = scene()
    at.answers = [Outcome("failed", "cannot be reached")]
    at.outbox.put(letter("a", due_us=0))
    at.round.step()
    at.now -= 10 * HOUR_US
    at.run(1)
    assert len(at.sent) == 1


@pytest.mark.parametrize("count", [11, 25])
def test_many_notices_come_in_messages_of_at_most_ten(count: int) -> None:
    at = scene()
    at.outbox.put(*[letter(f"n{number:02}", due_us=NOON - count + number) for number in range(count)])
    at.run(1)
    assert len(at.sent) == -(-count // 10)
    text = "".join(text for _, text in at.sent)
    assert [text.count(f"text of n{number:02}") for number in range(count)] == [1] * count


def test_a_table_without_destinations_delivers_nothing_and_needs_nothing() -> None:
    assert Vehicle().notices.destinations == ()
