"""The forwarder: a cursor over the journal that brings what it holds to a database server, in order.

The journal is the backlog, so an outage of any length costs only time. A page of records becomes lines; the cursor
moves when each of them was accepted, or refused for good and kept with the server's reason. Lines that are sent twice
are the identical points, stored once. Nothing grows while a server is away: two pages wait, the rest is in the journal.

    journal → Pages → Digest → lines → Delivery → server
        cursor moves  ←──────  all settled

It runs in a thread of its own and writes nothing: moves are handed to the journal's one writer.
"""

from __future__ import annotations

import logging
import random
import sqlite3
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from monitor.base.errors import KeyoffError
from monitor.base.fields import iso
from monitor.base.vehicle import Vehicle
from monitor.store.forward_backlog import Backlog, Move, Step
from monitor.store.forward_delivery import Delivery
from monitor.store.forward_digest import UNNAMED
from monitor.store.forward_pages import Pages, Prepared
from monitor.store.forward_server import Answer, DatabaseServer, Server
from monitor.store.points import point

log = logging.getLogger(__name__)

IDLE_S = 5.0  # between looks at a journal that holds nothing new; our choice: who watches a dashboard sees it move
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 300.0  # after a failure, doubled each time
SPREAD = 0.25  # of a wait, at random: the vehicles of a fleet do not come back in the same second; our choice
MEND = "check url, org, bucket, token and verify in [database]"

Health = Literal["starting", "current", "catching up", "waiting", "refused", "stopped"]


@dataclass(slots=True)
class _Trouble:
    """What keeps the lines back, whether it lies with the journal, and how often it was met in a row."""

    answer: Answer
    of_journal: bool
    times: int = 0

    def wait_s(self, chance: float) -> float:
        """Doubles to its cap; never shorter than the server asks for. `chance` in [0, 1)."""
        wait_s: float = min(FIRST_WAIT_S * 2.0 ** min(self.times - 1, 10), LONGEST_WAIT_S)
        return max(wait_s, self.answer.wait_s) * (1.0 + SPREAD * chance)


class Forwarder:
    """Forwards one vehicle's journal. Raises SettingError when the [database] table's token is not where it says.

    vehicle   with its [database] table
    backlog   opens a reader of the journal, in the thread that uses it
    move      takes what is to be journalled; may return before it is
    limits    label of rules that were in force before any were journalled
    server    in place of the table's server; chance in place of `random.random`: for tests
    """

    def __init__(
        self,
        vehicle: Vehicle,
        backlog: Callable[[], Backlog],
        move: Move,
        limits: str = UNNAMED,
        server: Server | None = None,
        chance: Callable[[], float] = random.random,
    ) -> None:
        assert vehicle.database is not None
        table = vehicle.database
        self._move, self._chance = move, chance
        self._server = server or DatabaseServer(table)
        harmless = point("keyoff_link", {"vehicle": vehicle.name}, {"up": 1.0}, 0) or ""
        harmless = harmless.rsplit(" ", 1)[0]  # the server's own time, which no retention can refuse
        self._delivery = Delivery(self._server, table.batch_points, table.batch_bytes, harmless)
        self._pages = Pages(vehicle, backlog, limits)
        self._page: Prepared | None = None  # on its way
        self._position = 0
        self._trouble: _Trouble | None = None
        self._state: Health = "starting"
        self._sent_to_us: int | None = None
        self._rejected, self._lost, self._next_try_s = 0, 0, 0.0
        self._last_error = ""

    def run(self, stop: threading.Event) -> None:
        """Forward until `stop` is set."""
        try:
            while not stop.is_set():
                stop.wait(self.step())
        finally:
            self._state = "stopped"
            self._pages.close()
            self._server.close()

    def step(self) -> float:
        """One attempt; the seconds to wait before the next, 0 when there is more to do at once."""
        try:
            if self._delivery:
                wait_s = self._send()
            elif self._page is not None:
                wait_s = self._settle()
            else:
                wait_s = self._look()
        except (KeyoffError, sqlite3.Error, OSError) as wrong:  # the journal: busy, moved aside, disk full
            wait_s = self._kept(Answer("unreachable", f"the journal: {wrong}"), of_journal=True)
        self._next_try_s = wait_s
        return wait_s

    @property
    def state(self) -> dict[str, Any]:
        """How it stands, for the health file; no secrets in it."""
        return {
            "state": self._state,
            "server": self._server.name,
            "position": self._position,
            "sent_to": None if self._sent_to_us is None else iso(self._sent_to_us),
            "sent_points": self._delivery.accepted,
            "rejected": self._rejected,
            "lost_samples": self._lost,
            "last_error": self._last_error,
            "next_try_s": 0.0 if self._trouble is None else round(self._next_try_s, 1),
        }

    def _look(self) -> float:
        """Take the next page of the journal."""
        self._page = self._pages.next()
        if self._trouble is not None and self._trouble.of_journal:
            self._recovered()
        if self._page is None:
            if self._trouble is None:
                self._state = "current"
            return IDLE_S
        self._delivery.put(self._page.lines)
        return 0.0

    def _send(self) -> float:
        answer = self._delivery.attempt()
        if answer.meaning in ("busy", "unreachable", "denied"):
            return self._kept(answer)
        if answer.meaning == "accepted":
            self._recovered()
        return 0.0

    def _settle(self) -> float:
        """Each line was accepted or refused: the cursor moves."""
        assert self._page is not None
        page = self._page
        rejected = [*page.rejected, *self._delivery.rejected]
        self._move(Step(page.position, page.state, page.lost, rejected))
        self._recovered()
        if rejected:
            what, why = rejected[-1]
            self._last_error = why
            log.error(
                "%s: %d points refused and kept aside; the last: %s: %s", self._server.name, len(rejected), why, what
            )
        self._delivery.rejected = []
        self._rejected += len(rejected)
        self._lost += page.lost
        self._position, self._sent_to_us = page.position, page.last_us
        self._state = "current" if page.done else "catching up"
        self._page = None
        return 0.0

    def _kept(self, answer: Answer, of_journal: bool = False) -> float:
        """Nothing is lost by waiting; a person is told at the first failure, and again when it changes its nature."""
        said = f"{answer.reason}; {MEND}" if answer.meaning == "denied" else answer.reason
        if self._trouble is None or self._trouble.answer.meaning != answer.meaning:
            tell = log.error if answer.meaning == "denied" else log.warning
            tell("%s; everything is kept and sent later", said)
            self._trouble = _Trouble(answer, of_journal)
        self._trouble.answer = answer
        self._trouble.times += 1
        self._last_error = said
        self._state = "refused" if answer.meaning == "denied" else "waiting"
        return self._trouble.wait_s(self._chance())

    def _recovered(self) -> None:
        if self._trouble is not None:
            log.info("forwarding to %s goes on", self._server.name)
            self._trouble, self._last_error = None, ""
