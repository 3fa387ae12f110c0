"""The reader: polls a logger in a thread of its own and keeps what arrived until the keeper takes it.

Bounded in bytes. When that much waits, the newest arrivals are dropped and counted by the row: what came first is kept,
since a reading that lay about and is taken up later would bear a wrong time where this computer gives it.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from monitor.base.samples import SECOND_US
from monitor.sources.live.arrival import Arrival, LinkState, LiveLogger

MOST_BYTES = 16 * 2**20  # our choice: hours at 10 Hz, and harmless on a board of 512 MiB
ROW_BYTES = 64  # our choice: what a parsed row takes in arrays, rounded up
ARRIVAL_BYTES = 2000  # our choice: what an arrival takes beside its bytes
POLL_S = 0.25  # our choice: within it a stop is noticed
# Our choice: between looks, each of which costs a processor more than its few rows do. A serial port holds 4 KiB, the
# system some more; where this computer gives the times, they are as fine as the looks.
LEAST_REST_S, STAMP_REST_S, MOST_REST_S = 0.01, 0.25, 0.45
BUSY_BYTES = 1024  # our choice: a look that brings so much is followed by the next one soon


@dataclass(frozen=True, slots=True)
class Taken:
    """An arrival, and the monotonic time (s) of the look that brought it."""

    arrival: Arrival
    at_s: float


def weight(arrival: Arrival) -> int:
    """Bytes of memory that an arrival takes, roughly."""
    rows = 0 if arrival.rows is None else len(arrival.rows.t_us)
    return ARRIVAL_BYTES + len(arrival.raw) + ROW_BYTES * rows


def rest_s(arrival: Arrival) -> float:
    """Seconds until the next look after this one."""
    if arrival.paced or (arrival.rows is None and not arrival.raw):
        return 0.0
    if len(arrival.raw) >= BUSY_BYTES:
        return LEAST_REST_S
    return STAMP_REST_S if arrival.stamped else MOST_REST_S


class Reader:
    """Reads `logger` until stopped.

    state, why, since_s   how the link stands, and since when (monotonic)
    stamped               whether this computer's clock gave the newest rows their times
    """

    def __init__(
        self, logger: LiveLogger, clock: Callable[[], float] = time.monotonic, most_bytes: int = MOST_BYTES
    ) -> None:
        self.logger = logger
        self._clock = clock
        self._most = most_bytes
        self._waiting: deque[Taken] = deque()
        self._bytes = 0
        self._dropped = 0
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self.came = threading.Event()  # a second is complete, or much has come: worth a look before its time
        self.state: LinkState = "opening"
        self.why = ""
        self.since_s = clock()
        self.stamped = False
        self._second = 0

    def run(self) -> None:
        """Poll until `stop`; what the logger raises in spite of its promise ends this thread, and is told."""
        while not self._stop.is_set():
            arrival = self.logger.poll(POLL_S)
            self.put(arrival)
            self._stop.wait(rest_s(arrival))

    def put(self, arrival: Arrival) -> None:
        """Keep an arrival for the keeper, or count it as dropped."""
        now = self._clock()
        if arrival.state != "opening" or self.state in ("opening", "speaking"):  # a trouble is over when it speaks
            if arrival.state != self.state:
                self.since_s = now
            self.state, self.why = arrival.state, arrival.why
        if arrival.rows is None and not arrival.raw and not arrival.clock_steps and arrival.stored is None:
            return  # nothing but the state
        if arrival.rows is not None:
            self.stamped = arrival.stamped
        size = weight(arrival)
        with self._lock:
            if self._bytes + size > self._most:
                self._dropped += 0 if arrival.rows is None else len(arrival.rows.t_us)
                if arrival.stored is not None:
                    arrival.stored()  # counted as lost: to be sent again would not help
                return
            self._waiting.append(Taken(arrival, now))
            self._bytes += size
        if self._bytes > self._most // 4 or self._begins_second(arrival):
            self.came.set()

    def _begins_second(self, arrival: Arrival) -> bool:
        """Whether a whole second of data is complete with it."""
        if arrival.rows is None or not len(arrival.rows.t_us):
            return False
        before, self._second = self._second, int(arrival.rows.t_us[-1]) // SECOND_US
        return self._second != before

    def take(self) -> tuple[list[Taken], int]:
        """All that waits, in order, and how many rows were dropped since the last time."""
        with self._lock:
            taken, dropped = list(self._waiting), self._dropped
            self._waiting.clear()
            self._bytes = self._dropped = 0
        self.came.clear()
        return taken, dropped

    def stop(self) -> None:
        """Let the thread end soon, and the port go."""
        self._stop.set()
        self.logger.close()

    @property
    def stopping(self) -> bool:
        """Whether `stop` was called."""
        return self._stop.is_set()
