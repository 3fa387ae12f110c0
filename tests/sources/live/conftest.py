"""A logger on a transport and clocks of its own, and what it said until a named condition held."""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from monitor.base.ledger import Ledger
from monitor.base.samples import Block, Floats
from monitor.base.vehicle import LogSettings, Vehicle
from monitor.sources.live.arrival import Arrival, LinkState, LiveLogger
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.feed import Feed
from monitor.sources.live.stream import Habits, Seams, StreamLogger
from monitor.sources.live.transport import LinkError

DEADLINE_S = 30.0  # far beyond what any of this takes; reached only when something hangs
START_S = 1_750_000_000.0
PLAIN = Habits()


class Clock:
    """A clock that moves only when somebody rests, and a wall clock beside it that can be set."""

    def __init__(self) -> None:
        self.now = 100.0
        self.wall_ahead = START_S

    def __call__(self) -> float:
        return self.now

    def rest(self, seconds: float) -> None:
        self.now += seconds

    def wall(self) -> float:
        return self.now + self.wall_ahead


class Pieces:
    """A transport that brings prepared pieces, one a read, as long as the list has any; an error is raised."""

    def __init__(self, clock: Clock, pieces: list[bytes | LinkError], old: bool = False) -> None:
        self.pieces = pieces
        self.clock = clock
        self.old = old

    def connect(self) -> "Pieces":
        return self

    def read(self, timeout_s: float) -> bytes:
        if not self.pieces:
            self.clock.rest(timeout_s)
            return b""
        piece = self.pieces.pop(0)
        if isinstance(piece, LinkError):
            raise piece
        return piece

    def close(self) -> None:
        pass


@dataclass
class Said:
    """All that a logger said."""

    arrivals: list[Arrival] = field(default_factory=list)

    @property
    def t_us(self) -> list[int]:
        return [int(t) for a in self.arrivals if a.rows is not None for t in a.rows.t_us]

    def channel(self, name: str) -> list[float]:
        parts = [a.rows.channels[name].values for a in self.arrivals if a.rows is not None and name in a.rows.channels]
        return [float(v) for part in parts for v in part]

    @property
    def refused(self) -> dict[str, int]:
        found: dict[str, int] = {}
        for arrival in self.arrivals:
            for bad in arrival.rows.faults if arrival.rows is not None else ():
                found[bad.reason] = found.get(bad.reason, 0) + bad.count
        return found

    @property
    def raw(self) -> bytes:
        return b"".join(arrival.raw for arrival in self.arrivals)

    @property
    def states(self) -> list[LinkState]:
        """Each state once, in order."""
        found: list[LinkState] = []
        for arrival in self.arrivals:
            if not found or found[-1] != arrival.state:
                found.append(arrival.state)
        return found

    @property
    def why(self) -> str:
        return self.arrivals[-1].why


def car(log: dict[str, Any] | None = None, **more: Any) -> Vehicle:
    return Vehicle.model_validate({"log": log or {}, **more})


def on_pieces(
    clock: Clock,
    pieces: list[bytes | LinkError],
    log: dict[str, Any] | None = None,
    *,
    name: str = "a logger",
    habits: Habits = PLAIN,
    silence_s: float = 120.0,
    since_us: int | None = None,
    old: bool = False,
) -> StreamLogger:
    return StreamLogger(
        name,
        Pieces(clock, pieces, old).connect,
        habits,
        LogSettings.model_validate(log or {}),
        12.0,
        silence_s,
        ArrivalClock(since_us, clock, clock.wall),
        Seams(clock, clock.rest, lambda: 0.0),
    )


def listen(logger: LiveLogger, seconds: float, said: Said | None = None) -> Said:
    """Poll a logger on a clock of its own for so many polls of a second."""
    said = Said() if said is None else said
    for _ in range(round(seconds)):
        said.arrivals.append(logger.poll(1.0))
    return said


def until(
    logger: LiveLogger, condition: Callable[[Said], bool], what: str, said: Said | None = None, poll_s: float = 0.2
) -> Said:
    """Poll a real logger until the condition holds; fails, naming it, at the deadline."""
    said = Said() if said is None else said
    deadline = time.monotonic() + DEADLINE_S
    while not condition(said):
        assert time.monotonic() < deadline, f"not in {DEADLINE_S} s: {what}; {said.states}, {said.arrivals[-1:]}"
        said.arrivals.append(logger.poll(poll_s))
    return said


def until_state(logger: LiveLogger, state: LinkState, said: Said | None = None) -> Said:
    return until(logger, lambda s: bool(s.arrivals) and s.arrivals[-1].state == state, f"state {state}", said)


@dataclass
class Fed:
    """Blocks of a feed, joined."""

    blocks: list[Block]
    ledger: Ledger

    def channel(self, name: str) -> Floats:
        """The channel; NaN where the log has none."""
        parts = [getattr(block, name) for block in self.blocks]
        return np.concatenate(
            [np.full(len(b), np.nan) if p is None else p for b, p in zip(self.blocks, parts, strict=True)]
        )

    @property
    def t_us(self) -> list[int]:
        return [int(t) for block in self.blocks for t in block.t_us]


def feed(arrivals: Iterable[Arrival], into: Feed | None = None, each_s: float = 0.0) -> Fed:
    """Arrivals through a feed to its end, `each_s` apart."""
    into = Feed(reorder_us=2_000_000) if into is None else into
    blocks: list[Block] = []
    for index, arrival in enumerate(arrivals):
        blocks += into.push(arrival, index * each_s)
    blocks += into.finish()
    assert all((np.diff(block.t_us) > 0).all() for block in blocks)
    return Fed(blocks, into.ledger)
