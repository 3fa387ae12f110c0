"""The watch, kept from stopping the logging: a fault of it is told, it is rebuilt once, and then it stays off.

Samples are the truth and go on being journalled without it; what it says can be worked out again from them. Events are
numbered here, in the order of the journal, so that what is worked out again comes out under the numbers it had.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from monitor.base.condition import Condition
from monitor.base.errors import KeyoffError
from monitor.base.orders import Order
from monitor.base.samples import Block
from monitor.limits.rules import Rules
from monitor.limits.watch import Event, Watch
from monitor.service.telling import LOG
from monitor.store.journal import Resume

AFRESH_US = 8 * 86_400_000_000  # our choice: a week and a day, all that the summaries look back on

Numbered = tuple[int, Event]
State = Literal["on", "rebuilt", "off"]


class Guard:
    """Feeds the watch and numbers what it says.

    new      an empty watch
    restore  the watch of a checkpoint; ValueError when another version wrote it
    resume   where to go on, as the journal says; with a time: afresh, all samples from then on
    state    on; rebuilt: after a fault; off: after another, until the service starts anew
    why      the fault, where there was one
    last_us  time of the newest sample in the journal at the last look
    """

    def __init__(
        self,
        new: Callable[[], Watch],
        restore: Callable[[dict[str, object]], Watch],
        resume: Callable[[int | None], Resume],
    ) -> None:
        self._new, self._restore, self._resume = new, restore, resume
        self.watch: Watch | None = None
        self.next_number = 0
        self.state: State = "on"
        self.why = ""
        self.last_us: int | None = None

    @property
    def rules(self) -> Rules | None:
        """The rules in force; None while the watch is off."""
        return None if self.watch is None else self.watch.rules

    def condition(self) -> Condition | None:
        """What the vehicle is doing, as far as the watch can tell."""
        try:
            return None if self.watch is None else self.watch.condition()
        except Exception as fault:  # noqa: BLE001 - as below; it comes again and again, and is told once
            if self.why != f"{type(fault).__name__}: {fault}":
                self._told(fault)
            return None

    def start(self) -> list[Numbered]:
        """Go on where the journal says; the events since the last checkpoint, under the numbers they had."""
        try:
            return self._rebuild()
        except Exception as fault:  # noqa: BLE001 - whatever it is, the samples must go on being kept
            self._off(fault)
            return []

    def feed(self, block: Block | None, advance_us: int | None, orders: Sequence[Order]) -> list[Numbered]:
        """What the watch says to the next samples, the time passed, and orders; [] while it is off."""
        if self.watch is None:
            return []
        try:
            return self._number(self._events(self.watch, block, advance_us, orders))
        except Exception as fault:  # noqa: BLE001 - as above
            self._told(fault)
            if self.state != "on":
                self._off(fault)
                return []
        try:
            again = self._rebuild()
            self.state = "rebuilt"
            assert self.watch is not None
            return again + self._number(self._events(self.watch, block, advance_us, orders))
        except Exception as fault:  # noqa: BLE001 - as above
            self._off(fault)
            return []

    def checkpoint(self) -> dict[str, object] | None:
        """The state of the watch; None while it is off."""
        return None if self.watch is None else self.watch.snapshot()

    def _rebuild(self) -> list[Numbered]:
        """The watch from the last checkpoint, or from the samples of the last days where that is of another version.

        Its findings need not be those told before then; all of them were told, so they are left out.
        """
        resume = self._resume(None)
        self.last_us = resume.last_us
        watch = self._new()
        if resume.checkpoint is not None:
            try:
                watch = self._restore(resume.checkpoint)
            except ValueError as other:
                LOG.warning("the kept state is of another version (%s): worked out again from the last days", other)
                resume = self._resume((resume.last_us or 0) - AFRESH_US)
        again = [event for item in resume.since for event in _say(watch, item)]
        self.watch = watch
        self.next_number = resume.next_event if resume.afresh else resume.first_event
        return [] if resume.afresh else self._number(again)

    def _events(
        self, watch: Watch, block: Block | None, advance_us: int | None, orders: Sequence[Order]
    ) -> list[Event]:
        items: list[Block | int | Order] = [part for part in (block, advance_us, *orders) if part is not None]
        return [event for item in items for event in _say(watch, item)]

    def _number(self, events: Sequence[Event]) -> list[Numbered]:
        numbered = list(enumerate(events, self.next_number))
        self.next_number += len(numbered)
        return numbered

    def _told(self, fault: Exception) -> None:
        self.why = f"{type(fault).__name__}: {fault}"
        LOG.error("the watch failed: %s", self.why, exc_info=fault)

    def _off(self, fault: Exception) -> None:
        self._told(fault)
        self.watch, self.state = None, "off"
        LOG.critical("the watch is off until the service starts anew; samples are kept")


def _say(watch: Watch, item: Block | int | Order) -> list[Event]:
    if isinstance(item, Block):
        return watch.update(item)
    if isinstance(item, int):
        return watch.advance(item)
    try:
        return watch.order(item)
    except KeyoffError as refused:  # what it is told about is gone meanwhile: no fault of the watch
        LOG.warning("an order was not carried out: %s; %s", refused.what, refused.remedy)
        return []
