"""The delivery of the stored outbox: one thread a destination, in order, for ever, each notice once.

A letter is journalled as "sending" before it is sent and as "sent" when the destination has confirmed it. So it goes
out once, whatever is restarted, except where power is lost, or the answer is, between the two: then it is sent again,
and says that it may be a repeat. What a destination refuses for good is kept with the reason. Order within a
destination holds; a dead one delays no other. Several that are due at once go as one message.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import CancelledError, Future
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any, Protocol

from monitor.base.errors import KeyoffError
from monitor.base.fields import iso
from monitor.base.tables.notices import Destination, NoticesTable
from monitor.service.destinations import Outcome, send_aside
from monitor.service.quiet import may_go_at
from monitor.store.entries import Letter
from monitor.views.letters import Told, Words, message
from monitor.views.words import LocalTime

# Our choice: often enough that a short outage costs minutes, seldom enough for a server that is down for days.
FIRST_RETRY_S, LONGEST_RETRY_S = 60.0, 3600.0
LOOK_S = 5.0  # between two looks into the outbox; our choice
POST_S = 60.0  # the journal's writer may be busy, or its disk full, for so long; our choice
MOST_TOGETHER = 10  # letters in one message; our choice: more is a page, and services limit the length
HELD_UNSTORED = 50  # letters kept while the journal cannot be written; our choice

UNTOLD = ("refused", "dropped")


class KeptLetter(Protocol):
    """A letter in the journal and how its delivery stands."""

    @property
    def letter(self) -> Letter:
        """The letter."""

    @property
    def state(self) -> str:
        """waiting, sending, unsure, sent, refused or dropped."""

    @property
    def attempts(self) -> int:
        """How often a sending was begun."""


class OutboxReader(Protocol):
    """What delivery reads of the journal."""

    def letters(self, to: str, now_us: int) -> Sequence[KeptLetter]:
        """Letters of a destination that are due and neither sent nor refused nor dropped, oldest due first."""

    def letter(self, key: str) -> KeptLetter | None:
        """One letter, in whatever state."""

    def letter_counts(self) -> Mapping[tuple[str, Any], int]:
        """How many letters of each destination are in each state."""


class OutboxWriter(Protocol):
    """What delivery has the keeper write."""

    def letter_state(self, keys: Sequence[str], state: str, at_us: int, why: str = "") -> None:
        """Set state, time and reason of these letters in one durable transaction."""


Reader = Callable[[], AbstractContextManager[OutboxReader]]
Post = Callable[[Callable[[Any], None]], "Future[None]"]  # the callable gets the keeper's OutboxWriter
Send = Callable[[str, str, str], Outcome]


@dataclass(slots=True)
class _State:
    """How a destination stands, for status; times µs."""

    sent: int = 0
    refused: int = 0
    refused_why: str = ""
    failures: int = 0  # in a row
    last_sent_us: int | None = None
    oldest_due_us: int | None = None  # of what is due and could not be sent yet
    trouble: str = ""
    next_try_us: int = 0


class Round:
    """The delivery to one destination; `step` does what is due and says when to look again."""

    def __init__(
        self,
        destination: Destination,
        table: NoticesTable,
        zone: tzinfo | None,
        *,
        reader: Reader,
        post: Post,
        clock: Callable[[], int],
        sender: Send = send_aside,
    ) -> None:
        self.destination = destination
        self.state = _State()
        self.unstored: deque[Letter] = deque(maxlen=HELD_UNSTORED)
        self._told: deque[str] = deque(maxlen=HELD_UNSTORED)  # keys that went out lately, whatever the journal knows
        self._table, self._zone = table, zone
        self._time = LocalTime(zone)
        self._reader, self._post, self._clock, self._send = reader, post, clock, sender
        self._singly = False  # a message of several was refused: now each by itself

    def step(self) -> float:
        """Send what is due, if anything; returns the seconds until there may be something to do."""
        now = self._clock()
        wait_s = (self.state.next_try_us - now) / 1e6
        waits = 0 < wait_s <= LONGEST_RETRY_S  # longer: the clock was set back meanwhile
        if self.unstored and not waits:
            return self._send_unstored(now)
        try:
            due = self._due(now)
            if waits and not any(_urgent(one) for one in due):
                return min(LOOK_S, wait_s)
            if not self.state.failures:
                self.state.trouble = ""
            return self._deliver(due[: 1 if self._singly else MOST_TOGETHER], now) if due else LOOK_S
        except (KeyoffError, OSError, CancelledError) as wrong:  # the journal, not the destination
            self.state.trouble = f"the journal: {str(wrong) or 'busy'}"
            return LOOK_S

    def health(self) -> dict[str, Any]:
        """For the health file; without secrets."""
        state = self.state
        return {
            "to": self.destination.called,
            "sent": state.sent,
            "refused": state.refused,
            "refused_why": state.refused_why,
            "failures": state.failures,
            "last_sent": None if state.last_sent_us is None else iso(state.last_sent_us),
            "oldest_waiting_s": self._oldest_waiting_s(),
            "trouble": state.trouble,
            "next_try": iso(state.next_try_us) if state.failures else None,
        }

    def _oldest_waiting_s(self) -> float:
        """Age of the oldest letter that this destination did not take yet; 0: none."""
        oldest = self.state.oldest_due_us
        if oldest is None or not self.state.trouble:
            return 0.0
        return max(self._clock() - oldest, 0) / 1e6

    def _due(self, now: int) -> list[KeptLetter]:
        """What may go now; letters that say nothing any more are dropped on the way."""
        to = self.destination.called
        with self._reader() as outbox:
            kept = [
                one
                for one in outbox.letters(to, now)
                if may_go_at(now, one.letter.priority, self._table.quiet, self._zone) <= now
            ]
            self.state.oldest_due_us = min((one.letter.due_us for one in kept), default=None)
            going = {one.letter.key for one in kept}
            idle = [one for one in kept if one.letter.after and one.letter.after not in going]
            idle = [one for one in idle if _untold(outbox.letter(one.letter.after))]
        doubled = [one.letter.key for one in kept if one.letter.key in self._told]
        if doubled:
            self._write(doubled, "sent", now, "sent while this could not be written down")
        if idle:
            self._write([one.letter.key for one in idle], "dropped", now, "what it follows was never told")
        gone = {*doubled, *(one.letter.key for one in idle)}
        return [one for one in kept if one.letter.key not in gone]

    def _deliver(self, batch: list[KeptLetter], now: int) -> float:
        keys = [one.letter.key for one in batch]
        words = message([_told(one) for one in batch], now, self._time)
        self._write(keys, "sending", now)
        outcome = self._send(self.destination.to, words.subject, words.text)
        now = self._clock()
        state = self.state
        if outcome.fate == "sent":
            self._told.extend(keys)
            self._write(keys, "sent", now)
            state.sent += len(keys)
            state.failures, state.trouble, state.last_sent_us = 0, "", now
            return 0.0
        state.trouble = outcome.why
        if outcome.fate == "refused":
            if len(keys) > 1:
                self._singly = True  # until the next start: this destination takes no long message
                self._put_back(batch, outcome, now)
                return 0.0
            self._write(keys, "refused", now, outcome.why)
            state.refused, state.refused_why = state.refused + 1, outcome.why
            return 0.0
        self._put_back(batch, outcome, now)
        return self._back_off(outcome, now)

    def _put_back(self, batch: list[KeptLetter], outcome: Outcome, now: int) -> None:
        """To be sent again. What may have arrived once stays so, whatever became of the next sending."""
        unsure = [one.letter.key for one in batch if outcome.fate == "unsure" or _repeat(one)]
        self._write(unsure, "unsure", now, outcome.why)
        self._write([one.letter.key for one in batch if one.letter.key not in unsure], "waiting", now, outcome.why)

    def _back_off(self, outcome: Outcome, now: int) -> float:
        self.state.failures += 1
        wait_s = min(FIRST_RETRY_S * 2.0 ** min(self.state.failures - 1, 16), LONGEST_RETRY_S)
        if outcome.fate == "barred":
            wait_s = LONGEST_RETRY_S
        self.state.next_try_us = now + round(wait_s * 1e6)
        return min(LOOK_S, wait_s)

    def _send_unstored(self, now: int) -> float:
        """A letter that the journal could not take: from memory, so not past a restart."""
        letter = self.unstored[0]
        told = Told(Words(letter.subject, letter.text), letter.priority, letter.at_us, letter.due_us)
        words = message([told], now, self._time)
        outcome = self._send(self.destination.to, words.subject, words.text)
        if outcome.fate in ("sent", "refused"):
            self.unstored.popleft()
            self._told.append(letter.key)
            self.state.failures = 0
            return 0.0
        self.state.trouble = outcome.why
        return self._back_off(outcome, self._clock())

    def hold(self, letter: Letter) -> None:
        """Take a letter that the journal cannot store now; one that was taken before is not taken again."""
        known = {*self._told, *(held.key for held in self.unstored)}
        if letter.key not in known:
            self.unstored.append(letter)

    def _write(self, keys: Sequence[str], state: str, at_us: int, why: str = "") -> None:
        """Have the keeper journal it, and wait until it is on the disk; raises when it cannot be."""
        if keys:
            self._post(lambda journal: journal.letter_state(keys, state, at_us, why)).result(POST_S)


class OutboxWorker:
    """All destinations of one vehicle, each in a thread of its own, so that none waits for another."""

    def __init__(
        self,
        table: NoticesTable,
        zone: tzinfo | None,
        *,
        reader: Reader,
        post: Post,
        clock: Callable[[], int],
        sender: Send = send_aside,
    ) -> None:
        self.rounds = [
            Round(destination, table, zone, reader=reader, post=post, clock=clock, sender=sender)
            for destination in table.destinations
        ]
        self._reader, self._post, self._clock = reader, post, clock
        self._stop = threading.Event()
        self._woken = [threading.Event() for _ in self.rounds]
        self._threads: list[threading.Thread] = []
        self._faults: dict[str, str] = {}

    def start(self) -> None:
        """Begin to deliver; what waits for a destination that is no longer in the vehicle file is dropped."""
        with suppress(KeyoffError, OSError):  # it is no more than tidying; the next start does it
            self._forsake()
        self._threads = [
            threading.Thread(target=self._run, args=pair, name=f"notices-{number}", daemon=True)
            for number, pair in enumerate(zip(self.rounds, self._woken, strict=True))
        ]
        for thread in self._threads:
            thread.start()

    def wake(self) -> None:
        """Letters were journalled: look now."""
        for event in self._woken:
            event.set()

    def hold(self, letters: Sequence[Letter]) -> None:
        """Send these although the journal cannot store them (its disk is full, or it is damaged)."""
        for one in self.rounds:
            for letter in letters:
                if letter.to == one.destination.called:
                    one.hold(letter)
        self.wake()

    def stop(self, timeout_s: float = 2.0) -> None:
        """Stop; a sending that goes on is left to itself and told as a possible repeat after the next start."""
        self._stop.set()
        self.wake()
        for thread in self._threads:
            thread.join(timeout_s / max(len(self._threads), 1))

    def health(self) -> list[dict[str, Any]]:
        """How each destination stands, without secrets."""
        told = [one.health() for one in self.rounds]
        for one in told:
            one["fault"] = self._faults.get(one["to"], "")
        return told

    def _forsake(self) -> None:
        now, known = self._clock(), {one.destination.called for one in self.rounds}
        with self._reader() as outbox:
            gone = {to for to, _ in outbox.letter_counts()} - known
            keys = [kept.letter.key for to in gone for kept in outbox.letters(to, now)]
        if keys:
            why = "its destination is no longer in the vehicle file"
            self._post(lambda journal: journal.letter_state(keys, "dropped", now, why))

    def _run(self, one: Round, woken: threading.Event) -> None:
        while not self._stop.is_set():
            woken.clear()
            try:
                wait_s = one.step()
                self._faults.pop(one.destination.called, None)
            except Exception as fault:  # noqa: BLE001 - a fault here must not end the notices: it is told, and tried again
                self._faults[one.destination.called] = f"a fault of the program itself: {type(fault).__name__}"
                wait_s = FIRST_RETRY_S
            woken.wait(wait_s)


def _urgent(one: KeptLetter) -> bool:
    """Whether it is worth a try although the destination was down a moment ago: critical, and not tried yet."""
    return one.letter.priority == "critical" and not one.attempts


def _repeat(one: KeptLetter) -> bool:
    """Whether it may have arrived: an earlier sending ended without an answer, or with the service."""
    return one.state in ("unsure", "sending")


def _told(one: KeptLetter) -> Told:
    letter = one.letter
    return Told(Words(letter.subject, letter.text), letter.priority, letter.at_us, letter.due_us, _repeat(one))


def _untold(first: KeptLetter | None) -> bool:
    return first is None or first.state in UNTOLD
