"""Listens to a live logger for a while, also while a person is asked, and keeps what was heard."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from monitor.base.samples import SECOND_US, Block, Floats
from monitor.sources.live.arrival import Arrival, LinkState, LiveLogger
from monitor.sources.live.feed import Feed

POLL_S = 0.2
SURE_S = 5.0  # a port that is absent, taken or refused for so long stays so; our choice
HOPELESS = ("unplugged", "port_taken", "refused")
MOST = 200_000  # samples kept; our choice: minutes at 1 kHz, and a question may stay unanswered for hours
NOTHING = Block(np.empty(0, np.int64), np.empty(0))

T = TypeVar("T")


class Listener:
    """Takes what the logger says, a stretch at a time.

    state, why  of the link
    channels    that rows carried
    head        the line that named them
    stamped     whether this computer gave the times
    ahead_s     how far the logger's newest time was ahead of this computer's clock as it came; None: none of its own
    """

    def __init__(
        self, logger: LiveLogger, nominal_v: float, wall_us: Callable[[], int], monotonic: Callable[[], float]
    ) -> None:
        self.name = logger.name
        self.state: LinkState = "opening"
        self.why = ""
        self.channels: set[str] = set()
        self.head = ""
        self.stamped = False
        self.ahead_s: float | None = None
        self.feed = Feed(nominal_v)
        self._logger = logger
        self._wall_us = wall_us
        self._now = monotonic
        self._blocks: list[Block] = []
        self._count = 0
        self._begun = 0
        self._old_us: int | None = None  # a file's rows up to here were there before
        self._hopeless_s: float | None = None

    @property
    def identity(self) -> str:
        """What an instrument says it is; "": nothing."""
        return str(getattr(self._logger, "identity", ""))

    def hear(self, seconds: float, enough: Callable[[Block], bool] = lambda _: False) -> Block:
        """All samples that come within so many seconds, or until they are `enough`, or the port is not to be had."""
        end = self._now() + seconds
        blocks: list[Block] = []
        while self._now() < end and not self._is_hopeless():
            came = self._look()
            blocks += came
            if came and enough(joined(blocks)):
                break
        return joined(blocks)

    def meanwhile(self, ask: Callable[[], T]) -> T:
        """What `ask` gives; the logger is listened to until then, so that nothing piles up and no link ends."""
        answered = threading.Event()

        def listen() -> None:
            while not answered.is_set():
                self._look()

        thread = threading.Thread(target=listen, name="check: listening", daemon=True)
        thread.start()
        try:
            return ask()
        finally:
            answered.set()
            thread.join()

    def begin(self) -> None:
        """What comes from here on is `since`."""
        self._begun = self._count

    def since(self) -> Block:
        """Samples since `begin`, and the few before it."""
        everything = self.everything()
        return everything[max(0, len(everything) - (self._count - self._begun) - 3) :]

    def everything(self) -> Block:
        """The last MOST samples or some more."""
        return joined(self._blocks)

    def _look(self) -> list[Block]:
        arrival = self._logger.poll(POLL_S)
        self.state, self.why = arrival.state, arrival.why
        if arrival.rows is not None:
            self.stamped = arrival.stamped
            self.channels.update(arrival.rows.channels)
            self.head = _heading(arrival) or self.head
            if len(arrival.rows.t_us):
                newest = int(arrival.rows.t_us.max())
                self._old_us = newest if arrival.again else self._old_us
                self.ahead_s = None if arrival.stamped else (newest - self._wall_us()) / SECOND_US
        blocks = [self._news(block) for block in self.feed.push(arrival, self._now())]
        self._keep(blocks)
        return [block for block in blocks if len(block)]

    def _news(self, block: Block) -> Block:
        return block if self._old_us is None else block[int(np.searchsorted(block.t_us, self._old_us, "right")) :]

    def _keep(self, blocks: list[Block]) -> None:
        self._blocks += blocks
        self._count += sum(map(len, blocks))
        while len(self._blocks) > 1 and sum(map(len, self._blocks[1:])) > MOST:
            del self._blocks[0]

    def _is_hopeless(self) -> bool:
        now = self._now()
        if self.state not in HOPELESS:
            self._hopeless_s = None
        elif self._hopeless_s is None:
            self._hopeless_s = now
        return self._hopeless_s is not None and now - self._hopeless_s >= SURE_S


def _heading(arrival: Arrival) -> str:
    """The logger's own line of titles, without the time that we added."""
    head = arrival.head.decode("utf-8", "replace").strip()
    return re.sub(r"^time,|[,;\t]time$", "", head) if arrival.stamped else head


def joined(blocks: list[Block]) -> Block:
    """Blocks as one; a channel that one of them lacks is unknown there."""
    if not blocks:
        return NOTHING

    def column(parts: list[Floats | None]) -> Floats | None:
        if all(part is None for part in parts):
            return None
        sizes = [len(block) for block in blocks]
        return np.concatenate([np.full(n, np.nan) if p is None else p for n, p in zip(sizes, parts, strict=True)])

    return Block(
        np.concatenate([block.t_us for block in blocks]),
        np.concatenate([block.volts for block in blocks]),
        column([block.amps for block in blocks]),
        column([block.celsius for block in blocks]),
    )
