"""The journal and its cursors against a plain model: commits, crashes, restarts, roll-over, retention, a sink.

The model is a list of what was committed. Whatever the order of things: the stream is that list, the sink gets each
record once or again after a crash, never one that was not there, and what retention took is counted.
"""

import shutil
import tempfile
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from monitor.base.orders import Order
from monitor.base.samples import SECOND_US
from monitor.base.tables.store import StoreTable
from monitor.store import upkeep
from monitor.store.entries import Entry, Event, Given, Letter, Record, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.making import DAY_US, FIRST_DAY, ROOMY, block, exactly, here, records, unsynced

SEEN: set[str] = set()  # what happened at all, over all examples

HOUR_US = 3_600 * SECOND_US


class Store(RuleBasedStateMachine):
    """One vehicle's data folder, and what ought to be in it."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="keyoff-model-"))
        self.home = Home(self.folder / "car")
        self.journal = Journal(self.home, connect=unsynced)
        self.journal.move("sink", 0)  # it is known from the beginning, so all that it does not get is a loss
        self.now_us = FIRST_DAY * DAY_US + DAY_US // 2
        self.fed: list[tuple[object, ...]] = []  # since the checkpoint
        self.state: dict[str, int] | None = None
        self.stream: list[object] = []
        self.numbers = 0
        self.letters: set[str] = set()
        self.gone = 0  # samples that retention took
        self.samples = 0
        self.sent: list[object] = []
        self.cursor_state = ""
        self.lost = 0

    @rule(
        pause=st.sampled_from([1, 10 * HOUR_US, 30 * HOUR_US]),
        count=st.integers(0, 12),
        events=st.integers(0, 2),
        ordered=st.booleans(),
        checkpoint=st.sampled_from([True, True, False]),
        advance=st.booleans(),
    )
    def commit(self, pause: int, count: int, events: int, ordered: bool, checkpoint: bool, advance: bool) -> None:
        self.now_us += pause
        new = block(self.now_us, count) if count else None
        self.now_us += count * 100_000
        orders = [Order(id=f"o{len(self.stream)}", at=self.now_us, kind="hush")] if ordered else []
        said = [(self.numbers + i, "quarter", self.now_us, f'{{"n": {self.numbers + i}}}') for i in range(events)]
        self.numbers += events
        self.state = {"at": len(self.stream)} if checkpoint else self.state
        self.journal.commit(
            Entry(
                block=new,
                advance_us=self.now_us if advance else None,
                orders=orders,
                events=said,
                letters=[Letter(f"k{number}", 0, "low", "s", "t", to="phone") for number, *_ in said],
                checkpoint=self.state if checkpoint else None,
            )
        )
        self.letters |= {f"k{number}" for number, *_ in said}
        fed: list[tuple[object, ...]] = [("samples", *rows(new))] if new is not None else []
        self.samples += count
        self.fed = [] if checkpoint else self.fed + fed + [("order", order.id) for order in orders]
        self.stream += fed + [("order", order.id) for order in orders] + [("event", number) for number, *_ in said]

    @rule()
    def say_again(self) -> None:
        """After a restart the watch says again what it said; nothing of it is new."""
        if self.numbers:
            number = self.numbers - 1
            self.journal.commit(
                Entry(
                    events=[(number, "quarter", 0, "{}")],
                    letters=[Letter(f"k{number}", 0, "low", "again", "t", to="phone")],
                )
            )

    @rule()
    def crash(self) -> None:
        """The files as they are on the disk at this moment, and nothing else, are what the next start finds."""
        copy = self.folder / "copy"
        shutil.copytree(self.home.folder, copy)
        self.journal.close()
        shutil.rmtree(self.home.folder)
        copy.rename(self.home.folder)
        self.journal = Journal(self.home, connect=unsynced)
        assert self.journal.damage is None

    @rule()
    def restart(self) -> None:
        self.journal.close()
        self.journal = Journal(self.home, connect=unsynced)

    @rule()
    def roll_over(self) -> None:
        if upkeep.roll_over(self.home, ROOMY, here(self.journal)).startswith("archived"):
            SEEN.add("archived")

    @rule(days=st.integers(0, 3))
    def retention(self, days: int) -> None:
        self.roll_over()
        told = upkeep.retention(self.home, StoreTable(keep_s=days * 86400.0 + 1), here(self.journal), self.now_us)
        if "deleted" in told:
            SEEN.add("deleted")

    @rule(limit=st.integers(1, 9), accepted=st.booleans(), crashes=st.booleans())
    def forward(self, limit: int, accepted: bool, crashes: bool) -> None:
        """A sink takes or rejects a page, and may die before it has moved its cursor."""
        with JournalReader(self.home) as reader:
            place = reader.cursor("sink")
            assert place.state == self.cursor_state
            page = reader.page(place.position, limit)
        assert len(page.records) <= limit
        if crashes:
            return
        self.cursor_state = str(page.end)
        rejected = [] if accepted else [(str(r.position), "no") for r in page.records]
        self.journal.move("sink", page.end, page.lost, self.cursor_state, rejected)
        self.sent += [one for record in page.records for one in described(record)]
        self.lost += page.lost
        if page.lost:
            SEEN.add("lost before the sink came")

    @invariant()
    def what_is_there_is_what_was_committed(self) -> None:
        found = [one for record in records(self.home, limit=5) for one in described(record)]
        kept = flat(self.stream)
        taken = [one for one in kept if one[0] == "sample"][: self.samples - count_samples(found)]
        assert found == [one for one in kept if one not in set(taken)]
        with JournalReader(self.home) as reader:
            assert sum(reader.lost().values()) == len(taken)
            assert {p.letter.key for p in reader.letters_in("waiting")} <= self.letters

    @invariant()
    def the_sink_has_each_record_once_and_in_order(self) -> None:
        kept = flat(self.stream)
        passed = iter(kept)
        assert all(one in passed for one in self.sent)  # a subsequence
        missing = kept[: kept.index(self.sent[-1]) + 1] if self.sent else []
        assert count_samples(missing) - count_samples(self.sent) <= self.lost
        with JournalReader(self.home) as reader:
            assert reader.cursor("sink").lost == self.lost

    @invariant()
    def a_restart_feeds_what_came_since_the_checkpoint(self) -> None:
        resume = self.journal.resume()
        assert resume.checkpoint == self.state
        assert resume.next_event == self.numbers
        since = [item for item in resume.since if not isinstance(item, int)]
        told = [("order", item.id) if isinstance(item, Order) else ("samples", *rows(item)) for item in since]
        assert flat(told) == flat(self.fed)

    def teardown(self) -> None:
        if hasattr(self, "journal"):
            self.journal.close()
            shutil.rmtree(self.folder)


def rows(samples: object) -> tuple[tuple[object, ...], ...]:
    """Each sample, to the last bit."""
    return tuple(exactly(samples[i : i + 1]) for i in range(len(samples)))


def flat(items: list[object]) -> list[tuple[object, ...]]:
    """Samples one by one: a record that spans midnight is two in the journal."""
    found: list[tuple[object, ...]] = []
    for item in items:
        kind, *values = item
        found += [("sample", value) for value in values] if kind == "samples" else [tuple(item)]
    return found


def described(record: Record) -> list[tuple[object, ...]]:
    if isinstance(record, Samples):
        return flat([("samples", *rows(record.block))])
    if isinstance(record, Given):
        return [("order", record.order.id)]
    assert isinstance(record, Event)
    return [("event", record.number)]


def count_samples(items: list[tuple[object, ...]]) -> int:
    return sum(1 for kind, *_ in items if kind == "sample")


TestStore = Store.TestCase
TestStore.settings = settings(max_examples=25, stateful_step_count=30)


def test_a_walk_on_which_all_of_it_happens() -> None:
    """What chance seldom brings together: days archived and deleted before a late sink came to them."""
    store = Store()
    store.begin()

    def check() -> None:
        store.what_is_there_is_what_was_committed()
        store.the_sink_has_each_record_once_and_in_order()
        store.a_restart_feeds_what_came_since_the_checkpoint()

    try:
        for day in range(8):
            store.commit(30 * HOUR_US, 12, 2, True, True, True)
            store.forward(limit=2, accepted=day % 2 == 0, crashes=day == 1)
            check()
            if day % 3 == 2:
                store.retention(2)
                check()
                store.crash()
                check()
        for _ in range(20):
            store.forward(limit=3, accepted=True, crashes=False)
            check()
        assert sorted(SEEN) == ["archived", "deleted", "lost before the sink came"]
        assert 0 < store.lost < store.samples
        assert count_samples(store.sent) + store.lost == store.samples
    finally:
        store.teardown()
