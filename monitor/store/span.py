"""A span of a vehicle's journal and archive, to be replayed as a recorded log is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from monitor.base.errors import InputError
from monitor.base.fields import iso
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.results import Mark
from monitor.base.samples import Block
from monitor.store import codec
from monitor.store.home import Home
from monitor.store.reader import JournalReader
from monitor.store.trim import DELETED

UNREACHABLE = "cannot be read back from the journal or the archive"


def open_span(path: Path, start_us: int | None = None, end_us: int | None = None) -> Span:
    """The samples in [start_us, end_us) of a data folder (or its journal); None: from the first, to the last.

    Raises StoreError when there is no journal, or it cannot be read.
    """
    return Span(JournalReader(Home.of(path)), start_us, end_us)


class Span:
    """Has the members of `sources.RecordedLog` that a replay uses; volts and amps are in the program's own convention.

    channels     those that any sample of the journal has
    ledger       books; of the whole journal as the service kept them, of a part of it only its samples; what was
                 thinned or damaged counts as refused; complete when `blocks` is exhausted
    notices      sentences a person should read
    relative, assumes_utc  never: the journal's times are UTC
    others, merged         0: such rows never came into the journal
    """

    relative = False
    assumes_utc = False
    others = 0
    merged = 0

    def __init__(self, reader: JournalReader, start_us: int | None, end_us: int | None) -> None:
        self._reader = reader
        self._start_us, self._end_us = start_us, end_us
        self._whole = start_us is None and end_us is None
        self.channels = codec.channel_names(int(reader.fact("channels") or 0))
        self.notices: list[str] = []
        self.ledger = reader.books() if self._whole else Ledger()
        self.ledger.samples = 0
        lost = reader.lost(start_us, end_us)
        deleted = lost.pop(DELETED, 0)
        if deleted:
            self.notices.append(f"{deleted:,} samples are no longer there: [store] keeps no more than it says")
        if not self._whole:
            for reason, samples in lost.items():  # of the days that the span touches
                self.ledger.refuse(reason, count=samples)

    def blocks(self) -> Iterator[Block]:
        """All samples, in large blocks; t_us strictly increasing. Raises InputError when there are none."""
        found = False
        for item in self._reader.blocks(self._start_us, self._end_us):
            if isinstance(item, int):
                self.ledger.refuse(UNREACHABLE, count=item)
                continue
            self.ledger.samples += len(item)
            found = True
            yield item
        if not found:
            raise self._empty()

    def _empty(self) -> InputError:
        name = self._reader.home.folder
        newest = self._reader.last_sample_us()
        if newest is None:
            return InputError(f"{name}: the journal holds no sample yet", "wait until the logger has spoken")
        return InputError(
            f"{name}: no sample in the asked time; the newest is of {iso(newest)}", "choose --from and --to within it"
        )

    def orders(self) -> list[Order]:
        """Orders given in the span, in the order they were carried out."""
        inside = (ordered.order for ordered in reversed(self._reader.orders(limit=-1)))
        return [order for order in inside if self._holds(order.at)]

    def marks(self) -> list[Mark]:
        """Marks that were set while the service ran, as `keyoff replay --marks` takes them."""
        return [order.mark for order in self.orders() if order.kind == "mark" and order.mark is not None]

    def _holds(self, t_us: int) -> bool:
        return (self._start_us is None or t_us >= self._start_us) and (self._end_us is None or t_us < self._end_us)

    def close(self) -> None:
        """Let go of the journal."""
        self._reader.close()

    def __enter__(self) -> Span:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
