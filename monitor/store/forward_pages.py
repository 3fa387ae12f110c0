"""Pages of the journal as lines, the next one made while the last one is sent: catching up takes as long as sending.

A thread of its own reads and computes; it is at most one page ahead, so memory does not depend on the backlog.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

from monitor.base.errors import KeyoffError
from monitor.base.vehicle import Vehicle
from monitor.store.forward_backlog import CURSOR, Backlog, Rejected
from monitor.store.forward_digest import Digest

FIRST_PAGE = 250  # records; doubled page by page: the server is at work soon, and then all the time; our choice
PAGE = 4_000  # records of one page at most; our choice: a large batch of seconds
BATCHES = 2  # of lines in a page are enough: what is doubled further keeps the server waiting; our choice


@dataclass(frozen=True, slots=True)
class Prepared:
    """The lines of one page, and where the cursor goes when all are settled.

    rejected  what could not be made a line, and why
    last_us   time of the last sample so far; None: none yet
    done      nothing newer was there
    """

    lines: Sequence[str]
    position: int
    state: str
    lost: int
    rejected: Sequence[Rejected]
    last_us: int | None
    done: bool


class Pages:
    """Reads on from the cursor as it was journalled. `backlog` opens a reader, in the thread that uses it."""

    def __init__(self, vehicle: Vehicle, backlog: Callable[[], Backlog], limits: str) -> None:
        self._vehicle, self._open, self._limits = vehicle, backlog, limits
        self._worker = ThreadPoolExecutor(1, "keyoff-forward-ahead")
        self._ahead: Future[Prepared | None] | None = None
        self._backlog: Backlog | None = None
        self._digest: Digest | None = None
        self._position = 0
        self._limit = FIRST_PAGE

    def next(self) -> Prepared | None:
        """The next page; None: nothing is new. Raises what the journal raises; then it is opened again at the next."""
        waiting, self._ahead = self._ahead or self._worker.submit(self._make), None
        prepared = waiting.result()
        if prepared is not None and not prepared.done:
            self._ahead = self._worker.submit(self._make)
        return prepared

    def close(self) -> None:
        """Let go of the journal and the thread."""
        self._worker.submit(self._close)
        self._worker.shutdown()

    def _make(self) -> Prepared | None:
        try:
            return self._read()
        except (KeyoffError, sqlite3.Error, OSError):
            self._close()
            raise

    def _read(self) -> Prepared | None:
        backlog = self._backlog = self._backlog or self._open()
        assert self._vehicle.database is not None
        if self._digest is None:
            place = backlog.cursor(CURSOR)
            self._position = place.position
            self._digest = Digest(self._vehicle, self._vehicle.database, self._limits, place.state)
        page = backlog.page(self._position, self._limit, together=True)
        if page.end <= self._position:
            return None
        digest, self._position = self._digest, page.end
        lines = digest.update(page.records)
        if len(lines) < BATCHES * self._vehicle.database.batch_points:
            self._limit = min(2 * self._limit, PAGE)
        rejected, digest.rejected = digest.rejected, []
        return Prepared(lines, page.end, digest.state, page.lost, rejected, digest.last_us, page.done)

    def _close(self) -> None:
        if self._backlog is not None:
            self._backlog.close()
            self._backlog = None
