"""The journal: what one vehicle's service has acknowledged, in one SQLite file with one writer.

Samples and orders are the truth; everything else is derived from them by the watch, which is deterministic. So the
journal keeps the watch's state only now and then (a checkpoint), and after a crash feeds it again what came since:
the same events come out, under the same numbers, and nothing is told twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.samples import Block
from monitor.store.home import Home


@dataclass(frozen=True, slots=True)
class Letter:
    """One notice in the outbox.

    key       unique: the same notice planned twice is sent once
    due_us    not before this time (quiet hours)
    """

    key: str
    due_us: int
    priority: str
    subject: str
    text: str


@dataclass(frozen=True, slots=True)
class Entry:
    """What one transaction writes; any part may be empty.

    block        samples, later than all before
    advance_us   data time went on to here without samples (the logger is silent); fed to the watch after the block
    orders       carried out after the block, in this order
    events       (number, kind, time µs, JSON) of what the watch said; a number that is there already is left as it is
    letters      notices that these events make
    ledger       the books of input as they stand now
    checkpoint   the watch's state after all of this
    """

    block: Block | None = None
    advance_us: int | None = None
    orders: Sequence[Order] = ()
    events: Sequence[tuple[int, str, int, str]] = ()
    letters: Sequence[Letter] = ()
    ledger: Ledger | None = None
    checkpoint: dict[str, Any] | None = None


@dataclass(slots=True)
class Resume:
    """Where to go on: the last checkpoint (None: from the beginning), and what was fed to the watch since, in order.

    first_event  number of the next event after the checkpoint
    last_us      time of the last sample; None: none yet
    """

    checkpoint: dict[str, Any] | None = None
    since: Iterator[Block | int | Order] = field(default_factory=lambda: iter(()))
    first_event: int = 0
    last_us: int | None = None
    ledger: Ledger = field(default_factory=Ledger)


class Journal:
    """The one writer. Raises StoreError (disk full, read only, another writer) with what to do."""

    def __init__(self, home: Home) -> None:
        raise NotImplementedError

    def commit(self, entry: Entry) -> int:
        """Write all of it, or nothing; returns the position (a growing number) after it, once it is on the disk."""
        raise NotImplementedError

    def resume(self) -> Resume:
        """Where to go on after a start."""
        raise NotImplementedError

    def close(self) -> None:
        """Close; what was committed is safe without it."""
        raise NotImplementedError
