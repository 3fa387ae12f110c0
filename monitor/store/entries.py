"""What goes into the journal and comes out of it: plain data that the service, the sinks and the store share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.samples import Block

LetterState = Literal["waiting", "sending", "unsure", "sent", "refused", "dropped"]


@dataclass(frozen=True, slots=True)
class Letter:
    """One notice in the outbox.

    key       unique: the same notice planned twice is sent once
    due_us    not before this time (quiet hours)
    to        name of its destination
    at_us     when it happened
    after     key of the letter without which this one says nothing; "" none
    """

    key: str
    due_us: int
    priority: str
    subject: str
    text: str
    to: str = ""
    at_us: int = 0
    after: str = ""


@dataclass(frozen=True, slots=True)
class Posted:
    """A letter and what became of it.

    state     waiting → sending → sent; refused: for good, with a reason; unsure: may have arrived, is sent again;
              dropped: the letter it comes `after` was never told
    attempts  how often it was tried
    why       what the last attempt met, None: nothing yet
    tried_us  when it was last tried
    """

    letter: Letter
    state: LetterState
    attempts: int
    why: str | None
    tried_us: int | None


@dataclass(frozen=True, slots=True)
class Entry:
    """What one transaction writes; any part may be empty.

    block        samples, later than all before
    advance_us   data time went on to here without samples (the logger is silent); fed to the watch after the block
    orders       carried out after the block, in this order; one whose id is there already is left out
    events       (number, kind, time µs, JSON) of what the watch said; a number that is there already is left as it is;
                 numbers below zero are others' (assessments), and never the watch's
    letters      notices that these events make; a key that is there already is left as it is
    ledger       the books of input as they stand now
    checkpoint   the watch's state after all of this
    outcomes     id of an order → what became of it, one sentence
    """

    block: Block | None = None
    advance_us: int | None = None
    orders: Sequence[Order] = ()
    events: Sequence[tuple[int, str, int, str]] = ()
    letters: Sequence[Letter] = ()
    ledger: Ledger | None = None
    checkpoint: dict[str, Any] | None = None
    outcomes: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class Resume:
    """Where to go on: the last checkpoint (None: from the beginning), and what was fed to the watch since, in order.

    first_event  number of the next event after the checkpoint
    next_event   number that no event has yet
    last_us      time of the last sample; None: none yet
    last_event_us  newest time of an event; None: none yet
    ledger       the books of input as last committed
    afresh       what the watch says while it is fed `since` was told before under other numbers, by another version
                 or before the journal was damaged: drop it, and number from `next_event`
    """

    checkpoint: dict[str, Any] | None = None
    since: Iterator[Block | int | Order] = field(default_factory=lambda: iter(()))
    first_event: int = 0
    next_event: int = 0
    last_us: int | None = None
    last_event_us: int | None = None
    ledger: Ledger = field(default_factory=Ledger)
    afresh: bool = False


@dataclass(frozen=True, slots=True)
class Event:
    """What the watch said: its number, kind, time of the data (µs) and JSON. `position` is its place in the stream."""

    position: int
    number: int
    kind: str
    t_us: int
    body: str


@dataclass(frozen=True, slots=True)
class Samples:
    """A block as it was committed, at its place in the stream."""

    position: int
    block: Block


@dataclass(frozen=True, slots=True)
class Given:
    """An order at its place in the stream."""

    position: int
    order: Order


Record = Samples | Event | Given


@dataclass(frozen=True, slots=True)
class Page:
    """Some records of the stream, for a sink.

    records  in the order they were committed
    end      where to move the cursor once the sink has them all; past what is gone, too
    lost     samples that retention deleted, or that cannot be read, before this cursor came to them
    done     nothing newer was there
    """

    records: Sequence[Record]
    end: int
    lost: int
    done: bool


@dataclass(frozen=True, slots=True)
class Cursor:
    """A sink's place in the stream.

    position  all records up to here are dealt with
    moved_us  when it last moved
    rejected  records that the sink would not have, since the beginning
    lost      samples that were deleted before the sink took them
    lag       records after it (a block counts as one)
    state     what the sink remembers there, in its own words
    """

    name: str
    position: int
    moved_us: int | None
    rejected: int
    lost: int
    lag: int
    state: str = ""


@dataclass(frozen=True, slots=True)
class Rejected:
    """A record that a sink would not have, why, and when."""

    sink: str
    position: int
    at_us: int
    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Ordered:
    """An order and what became of it; None: not said yet."""

    order: Order
    outcome: str | None


@dataclass(frozen=True, slots=True)
class Damage:
    """A journal that was damaged at the start: where it was moved to, what was read from it, and what was wrong."""

    moved_to: str
    why: str
    samples: int
    events: int
    orders: int
    letters: int

    def __str__(self) -> str:
        return (
            f"the journal was damaged ({self.why}); it was moved to {self.moved_to} and a new one begun with what "
            f"could be read: {self.samples:,} samples, {self.events:,} findings, {self.orders:,} orders, "
            f"{self.letters:,} notices"
        )
