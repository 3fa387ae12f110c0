"""Orders on their way to the watch: the service's own and those in the inbox, on the clock of the samples.

Each is carried out once, and answered once what it did is on the disk.
"""

from __future__ import annotations

from collections import deque
from pathlib import Path

from monitor.base.errors import KeyoffError
from monitor.base.orders import Order
from monitor.limits.watch import Watch
from monitor.service import inbox
from monitor.service.inbox import Answer
from monitor.service.judge import done, refusal
from monitor.service.telling import Telling
from monitor.store.home import Home
from monitor.store.journal import Journal


def in_data_time(order: Order, apart_us: int) -> Order:
    """The order with its times on a clock that is ahead of this computer's by `apart_us`."""
    if not apart_us:
        return order
    mark = None if order.mark is None else order.mark.model_copy(update={"at": order.mark.at + apart_us})
    until = None if order.until is None else order.until + apart_us
    return order.model_copy(update={"at": order.at + apart_us, "until": until, "mark": mark})


class Desk:
    """Takes orders in; `own` and `outside` give those to be carried out now."""

    def __init__(self, home: Home, telling: Telling) -> None:
        self._home, self._telling = home, telling
        self._given: deque[Order] = deque()
        self._answers: list[tuple[Path, Answer]] = []

    def give(self, order: Order) -> None:
        """An order of the service's own; may be called from any thread."""
        self._given.append(order)

    def own(self, apart_us: int, early: bool) -> list[Order]:
        """Those of the service; `early`: what it sees still waits for samples, whose clock may be another."""
        given = [self._given.popleft() for _ in range(len(self._given))]
        if early:
            self._given.extend(order for order in given if order.kind == "observe")
        return [in_data_time(order, apart_us) for order in given if not (early and order.kind == "observe")]

    def outside(self, journal: Journal, watch: Watch | None, now_us: int, apart_us: int) -> list[Order]:
        """Those in the inbox that can be carried out; the others are refused."""
        orders: list[Order] = []
        for file, order in inbox.waiting(self._home):
            if isinstance(order, str):
                self._answers.append((file, Answer(False, order)))
                self._telling.stands("order", f"{file.name}: {order}")
                continue
            if journal.knows_order(order.id):  # carried out before a crash that came before the answer
                self._answers.append((file, done(order)))
                continue
            why = refusal(order, watch, now_us)
            self._answers.append((file, done(order) if why is None else Answer(False, why)))
            if why is None:
                orders.append(in_data_time(order, apart_us))
        return orders

    def answer(self) -> None:
        """What they did is on the disk: answer them."""
        answers, self._answers = self._answers, []
        for file, answer in answers:
            try:
                inbox.settle(self._home, file, answer)
                self._telling.over("inbox")
            except (KeyoffError, OSError) as wrong:  # they stay, are known, and are answered when that works again
                self._telling.stands("inbox", f"orders cannot be answered: {wrong}")
