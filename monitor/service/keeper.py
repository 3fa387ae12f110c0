"""The keeper of one vehicle: takes what arrived, asks the watch, and writes both as one entry, once a second.

It is the one writer of the journal. What others want of the journal is posted to it. Nothing that can go wrong around
it (logger, disk, clock, a fault of the watch) stops the logging: samples wait in memory, bounded, while the disk will
not take them, and are written when it will.
"""

from __future__ import annotations

import queue
import shutil
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import replace
from typing import Protocol, TypeVar

import numpy as np

from monitor.base.alarms import Alarm
from monitor.base.condition import Condition
from monitor.base.errors import StoreError
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.samples import Block
from monitor.service.clock import now_us
from monitor.service.desk import Desk
from monitor.service.events import written
from monitor.service.gather import gathered, size
from monitor.service.guard import Guard, Numbered
from monitor.service.hold import restamped
from monitor.service.judge import FROM_OUTSIDE, done
from monitor.service.observe import Observer
from monitor.service.reader import Reader, Taken
from monitor.service.silence import Silence
from monitor.service.telling import LOG, Telling
from monitor.sources.live.arrival import Arrival
from monitor.store.home import Home
from monitor.store.journal import Entry, Journal, Letter

T = TypeVar("T")
Planner = Callable[[Sequence[Numbered], int], list[Letter]]

LEAST_S, MOST_S = 0.7, 1.5  # between entries; our choice: one fsync a second is what an SD card takes for years
SETTLE_S = 0.3  # after a second is complete: the source waits 0.2 s for late rows
POST_S = 1.0  # our choice: so long there may be no room for work that is posted
CHECKPOINT_US = 600_000_000  # our choice: at most ten minutes of samples are thought over again after a crash
CONDITION_S = 5.0  # our choice: how often the watch is asked what the vehicle is doing
LETTERS_S = 30.0  # our choice: how often standing troubles are asked for notices
MOST_WAITING = 16 * 2**20  # bytes; our choice: half a day at 10 Hz while the disk is full
FIRST_S = 300.0  # our choice: so long the first samples are waited for
APART_US = 120_000_000  # our choice: beyond it the logger's clock is not merely slow or its samples late
MOST_POSTED = 100  # our choice
DROPPED = "no room: the journal could not be written"
OLD = "not later than what the journal holds"
FAULTY = "a fault of the program while reading it"


class FeedLike(Protocol):
    """Arrivals of a live logger → samples in time order, with the books (`monitor.sources.live.feed`)."""

    @property
    def ledger(self) -> Ledger:
        """The books of input."""

    def push(self, arrival: Arrival, at_s: float) -> list[Block]:
        """What is settled now; called at each look, whether rows came or not."""

    def settled(self) -> Sequence[Callable[[], None]]:
        """Whom to tell once the blocks given so far are stored."""

    def finish(self) -> list[Block]:
        """What still waited to be put in order."""


class TroublesLike(Protocol):
    """Troubles of the link and of the service that a person is told of when they last."""

    def seen(self, kind: str, why: str, now_us: int) -> None:
        """The trouble is there."""

    def over(self, kind: str, now_us: int) -> None:
        """It is gone."""

    def letters(self, now_us: int) -> list[Letter]:
        """Notices that are due."""


class Keeper:
    """Runs in one thread; `post`, `give` and the plain attributes may be used from others.

    beat_s    monotonic time of the last finished step: a keeper that makes no progress is not alive
    position  of the journal
    """

    def __init__(
        self,
        name: str,
        home: Home,
        journal: Journal,
        guard: Guard,
        feed: FeedLike,
        reader: Reader,
        planner: Planner,
        troubles: TroublesLike,
        clock: Callable[[], float] = time.monotonic,
        wall_us: Callable[[], int] = now_us,
        most_waiting: int = MOST_WAITING,
    ) -> None:
        self.name, self.home, self.journal, self.guard = name, home, journal, guard
        self.feed, self.reader, self.planner, self.troubles = feed, reader, planner, troubles
        self.clock, self.wall_us, self._most_waiting = clock, wall_us, most_waiting
        self.telling = Telling(name)
        self.observer = Observer()
        self.silence = Silence()
        self.beat_s = clock()
        self.position = 0
        self.last_us: int | None = None
        self.last_wall_us: int | None = None
        self.checkpoint_us: int | None = None
        self._checkpoint_from_us: int | None = None
        self.hushed_until: int | None = None
        self.samples = self.dropped = self.waiting_bytes = 0
        self.alarms: list[Alarm] = []  # as after the last entry: the watch belongs to this thread
        self.condition: Condition | None = None
        self.held: Callable[[], bool] = lambda: False  # while true, arrivals are left with the reader
        self.letters_written: Callable[[], None] = lambda: None
        self.letters_unwritten: Callable[[Sequence[Letter]], None] = lambda letters: None
        self._was_held = False
        self._blocks: list[Block] = []
        self._to_tell: list[Callable[[], None]] = []  # once what waits is written
        self._desk = Desk(home, self.telling)
        self._waiting: deque[Entry] = deque()
        self._posted: queue.Queue[tuple[Callable[[Journal], object], Future[object]]] = queue.Queue(MOST_POSTED)
        self._last_entry = -MOST_S
        self._next_entry = self._next_letters = self._next_condition = 0.0
        self._began_s = clock()
        self._came_s: float | None = None  # when the newest samples came
        self._stop = threading.Event()
        self._closed = False

    # --- from other threads -------------------------------------------------------------------------------------------

    def post(self, work: Callable[[Journal], T]) -> Future[T]:
        """Let `work` be done on the journal in the keeper's thread; its result comes in the future."""
        future: Future[T] = Future()
        if self._closed:
            future.set_exception(StoreError("the service ends", "it is done after the next start", "failing"))
            return future
        try:
            self._posted.put((work, future), timeout=POST_S)  # type: ignore[arg-type]  # one queue for all results
        except queue.Full:
            future.set_exception(
                StoreError("the journal's keeper has too much to do", "it goes on by itself", "failing")
            )
        self.reader.came.set()
        return future

    def give(self, order: Order) -> None:
        """An order of the service's own, carried out with the next entry."""
        self._desk.give(order)

    def stop(self) -> None:
        """Let `run` end soon."""
        self._stop.set()
        self.reader.came.set()

    # --- the thread ---------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Go on where the journal says."""
        events = self.guard.start()
        self.last_us = self.silence.last_us = self.guard.last_us
        self._checkpoint_from_us = self.last_us
        self._write(Entry(), events)

    def run(self) -> None:
        """Step until stopped."""
        while not self._stop.is_set():
            self.step()
            if self.reader.came.wait(max(0.0, min(self._next_entry - self.clock(), MOST_S))):
                self.reader.came.clear()
                self.soon()

    def soon(self) -> None:
        """A second of data is complete: an entry is due once it has settled."""
        self._next_entry = min(self._next_entry, max(self._last_entry + LEAST_S, self.clock() + SETTLE_S))

    def step(self) -> None:
        """Take what arrived; write an entry when one is due; do what was posted."""
        now = self.clock()
        if self.held():
            self._was_held = True
        else:
            taken, dropped = self.reader.take()
            self._take(restamped(taken) if self._was_held else taken, dropped)
            self._was_held = False
        if now >= self._next_entry:
            self._next_entry = now + MOST_S
            self._entry(self.silence.due(now))
        self._work()
        self.beat_s = self.clock()

    def close(self) -> None:
        """Write all there is, with the watch's state, and close the journal."""
        taken, dropped = self.reader.take()
        self._take(taken, dropped)
        self._blocks += self.feed.finish()
        self._entry(None, last=True)
        self._closed = True
        self._work()
        if self._waiting:
            LOG.error("%s: %s bytes of samples could not be written and are lost", self.name, f"{self.waiting_bytes:,}")
        self.journal.close()

    def flush(self) -> bool:
        """Write what waits, as far as the disk takes it; whether nothing waits any more."""
        while self._waiting:
            try:
                self.position = self.journal.commit(self._waiting[0])
            except StoreError as full:
                self.telling.stands("journal", f"{full.what}; {full.remedy}")
                self.troubles.seen("disk_full", full.what, self.wall_us())
                return False
            entry = self._waiting.popleft()
            self.waiting_bytes -= 0 if entry.block is None else size(entry.block)
            if entry.letters:
                self.letters_written()
        self.telling.over("journal", "the journal is written again")
        self.troubles.over("disk_full", self.wall_us())
        return True

    def _take(self, taken: Sequence[Taken], dropped: int) -> None:
        if dropped:
            self._drop(dropped)
        for one in taken:
            count = 0 if one.arrival.rows is None else len(one.arrival.rows.t_us)
            if count and self.waiting_bytes > self._most_waiting:
                self._drop(count)
                if one.arrival.stored is not None:
                    one.arrival.stored()  # counted as lost: to be sent again would not help
                continue
            self._push(one.arrival, one.at_s, count)
        self._push(Arrival(b"", None, self.reader.state), self.clock(), 0)

    def _push(self, arrival: Arrival, at_s: float, count: int) -> None:
        if count:
            self.silence.spoke(at_s)
            self._came_s = at_s
            self.last_wall_us = self.wall_us()
        try:
            self._blocks += self.feed.push(arrival, at_s)
        except Exception as fault:  # noqa: BLE001 - rows that the program cannot read must not stop those it can
            self.telling.stands("rows", f"a fault of the program while reading {count} rows: {fault!r}")
            self.feed.ledger.refuse(FAULTY, count=count)

    def _drop(self, count: int) -> None:
        self.dropped += count
        self.feed.ledger.refuse(DROPPED, count=count)
        self.telling.stands("dropped", "rows are dropped and counted: no room while the journal cannot be written")

    def _entry(self, advance_us: int | None, last: bool = False) -> None:
        """One entry, or several where the logger's channels changed."""
        blocks, self._blocks = self._later(gathered(self._blocks)), []
        self._to_tell += self.feed.settled()
        orders = self._ordered(int(blocks[-1].t_us[-1]) if blocks else self.last_us)
        rules = [order for order in orders if order.kind == "rules"]
        others = [order for order in orders if order.kind != "rules"]
        parts = [Entry(block=block) for block in blocks]
        if advance_us is not None or others:
            parts[-1:] = [replace(parts[-1] if parts else Entry(), advance_us=advance_us, orders=others)]
        parts += [Entry(orders=[order]) for order in rules]  # apart: what comes before is under the old rules
        if last or not parts:
            parts.append(Entry())
        for place, entry in enumerate(parts):
            events = self.guard.feed(entry.block, entry.advance_us, entry.orders)
            if entry.block is not None:
                self.last_us = self.silence.last_us = int(entry.block.t_us[-1])
                self.samples += len(entry.block)
            self._write(entry, events, last and place == len(parts) - 1)
        if not self._waiting or self.flush():
            self._desk.answer()
            for stored in self._to_tell:
                stored()
            self._to_tell.clear()

    def _ordered(self, newest_us: int | None) -> list[Order]:
        """Orders to carry out now, behind the newest sample; those from outside wait while they could not be kept."""
        apart_us = self._apart_us(newest_us)
        orders = self._desk.own(apart_us, self._came_s is None and self.clock() - self._began_s < FIRST_S)
        if not self._waiting:
            orders += self._desk.outside(self.journal, self.guard.watch, self.wall_us(), apart_us)
        return orders

    def _later(self, blocks: list[Block]) -> list[Block]:
        """The samples later than all before; what the source should have left out is counted, never written twice."""
        kept: list[Block] = []
        newest = self.last_us
        for block in blocks:
            old = 0 if newest is None else int(np.searchsorted(block.t_us, newest, "right"))
            if old:
                self.feed.ledger.refuse(OLD, count=old)
            if old < len(block):
                kept.append(block[old:])
                newest = int(block.t_us[-1])
        return kept

    def _write(self, entry: Entry, events: Sequence[Numbered], last: bool = False) -> None:
        now = self.wall_us()
        letters = list(self.planner(events, now)) if events else []
        if self.clock() >= self._next_letters:
            self._next_letters = self.clock() + LETTERS_S
            letters += self.troubles.letters(now)
        self._watch_told()
        checkpoint = self.guard.checkpoint() if last or self._checkpoint_due(entry) else None
        if checkpoint is not None:
            self.checkpoint_us = self._checkpoint_from_us = self.last_us
        entry = replace(
            entry,
            outcomes={order.id: done(order).text for order in entry.orders if order.kind in FROM_OUTSIDE},
            events=[written(number, event) for number, event in events],
            letters=letters,
            checkpoint=checkpoint,
            ledger=self.feed.ledger,
        )
        if entry.block is None and not (entry.orders or events or letters or checkpoint) and entry.advance_us is None:
            return
        self.waiting_bytes += 0 if entry.block is None else size(entry.block)
        self._waiting.append(entry)
        if entry.block is not None:
            self._last_entry = self.clock()
        if not self.flush() and letters:
            self.letters_unwritten(letters)

    def _checkpoint_due(self, entry: Entry) -> bool:
        if any(order.kind == "rules" for order in entry.orders):
            return True
        if self.last_us is None or entry.block is None:
            return False
        if self._checkpoint_from_us is None:
            self._checkpoint_from_us = int(entry.block.t_us[0])
        return self.last_us - self._checkpoint_from_us >= CHECKPOINT_US

    def _watch_told(self) -> None:
        """What others ask of the watch, which belongs to this thread."""
        watch = self.guard.watch
        if watch is None:
            self.troubles.seen("watch_fault", self.guard.why, self.wall_us())
            self.condition = None
            return
        self.alarms, self.hushed_until = watch.alarms(), watch.hushed_until
        if self.clock() >= self._next_condition:
            self._next_condition = self.clock() + CONDITION_S
            self.condition = self.guard.condition()

    def _apart_us(self, newest_us: int | None) -> int:
        """How far the clock of the samples is ahead of this computer's, as far as that matters."""
        if newest_us is None or self._came_s is None:
            return 0
        apart_us = newest_us + int((self.clock() - self._came_s) * 1e6) - self.wall_us()
        return apart_us if abs(apart_us) > APART_US else 0

    def _work(self) -> None:
        for _ in range(MOST_POSTED):
            try:
                work, future = self._posted.get_nowait()
            except queue.Empty:
                return
            if not future.set_running_or_notify_cancel():
                continue
            try:
                future.set_result(work(self.journal))
            except Exception as wrong:  # noqa: BLE001 - it belongs to whoever posted it
                future.set_exception(wrong)

    # --- what it says of itself ---------------------------------------------------------------------------------------

    def observe(self, values: dict[str, float]) -> None:
        """What the service sees; becomes orders where it changed."""
        for order in self.observer.orders(values, self.wall_us(), self.guard.rules):
            self.give(order)

    def disk_free(self) -> int | None:
        """Free bytes where the journal is."""
        try:
            return shutil.disk_usage(self.home.folder).free
        except OSError:
            return None
