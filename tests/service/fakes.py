"""Small stand-ins around a real journal: a clock, a logger, a feed and a watch that count what they are given."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from monitor.base.alarms import Alarm, Transition
from monitor.base.condition import Condition
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.results import Result
from monitor.base.samples import Block
from monitor.limits.rules import Limit, Rules, rules_from
from monitor.service.guard import Guard
from monitor.service.keeper import Keeper
from monitor.service.reader import Reader
from monitor.sources.live.arrival import Arrival
from monitor.sources.rows import Cells, Rows
from monitor.store.home import Home
from monitor.store.journal import Journal, Letter

EPOCH_US = 1_800_000_000_000_000  # any time later than the program


def limit(name: str = "volts_low") -> Limit:
    return Limit(name, "volts", "V", None, 11.8, "high", "low volts", "charge it", "our choice")


RULES = Rules("plain", "for tests", (limit(),))


@dataclass
class FakeClock:
    """Moves when told."""

    s: float = 1000.0
    wall_us: int = EPOCH_US

    def __call__(self) -> float:
        return self.s

    def wall(self) -> int:
        return self.wall_us

    def go(self, seconds: float) -> None:
        self.s += seconds
        self.wall_us += int(seconds * 1e6)


class FakeLogger:
    name = "fake logger"

    def __init__(self) -> None:
        self.closed = False

    def poll(self, timeout_s: float) -> Arrival:
        return Arrival(b"", None, "speaking")

    def close(self) -> None:
        self.closed = True


def arrival(first_us: int, count: int = 10, step_us: int = 100_000, volts: float = 12.6) -> Arrival:
    t_us = first_us + step_us * np.arange(count, dtype=np.int64)
    rows = Rows(t_us, {"volts": Cells(np.full(count, volts))}, lambda row: None)  # type: ignore[arg-type,return-value]  # never refused
    return Arrival(b"", rows, "speaking")


@dataclass
class FakeFeed:
    """Rows → one block; nothing is put in order."""

    ledger: Ledger = field(default_factory=Ledger)
    broken: bool = False

    def push(self, arrival: Arrival, at_s: float) -> list[Block]:
        if arrival.rows is None:
            return []
        if self.broken:
            raise ZeroDivisionError("broken on purpose")
        self.ledger.samples += len(arrival.rows.t_us)
        return [Block(arrival.rows.t_us, arrival.rows.channels["volts"].values)]

    def settled(self) -> list[Callable[[], None]]:
        return []

    def finish(self) -> list[Block]:
        return []


class FakeWatch:
    """Raises one alarm at the first sample of each minute in which volts are low; counts what it was fed."""

    version = 1

    def __init__(self, rules: Rules = RULES) -> None:
        self.rules = rules
        self.hushed_until: int | None = None
        self.seen = 0
        self.minute = -1
        self.advanced: list[int] = []
        self.ordered: list[str] = []
        self.standing: dict[str, Alarm] = {}
        self.fails_at: int | None = None

    def condition(self) -> Condition | None:
        return None

    def update(self, block: Block) -> list[Any]:
        events = []
        for t_us, volts in zip(block.t_us.tolist(), block.volts.tolist(), strict=True):
            self.seen += 1
            if self.fails_at is not None and self.seen >= self.fails_at:
                raise ZeroDivisionError("the watch is broken on purpose")
            if volts < 11.8 and t_us // 60_000_000 != self.minute:
                self.minute = t_us // 60_000_000
                alarm = Alarm(
                    limit="volts_low", quantity="volts", value=volts, unit="V", side="low", setpoint=11.8,
                    priority="high", since=t_us, raised=t_us, state="unacknowledged", cause="low", response="charge",
                )  # fmt: skip
                self.standing["volts_low"] = alarm
                events.append(Transition(at=t_us, what="raised", alarm=alarm))
        return events

    def advance(self, t_us: int) -> list[Any]:
        self.advanced.append(t_us)
        return []

    def order(self, order: Order) -> list[Any]:
        self.ordered.append(order.id)
        if order.kind == "rules":
            self.rules = rules_from(order.text or "")
        if order.kind == "acknowledge" and order.limit in self.standing:
            changes = {"state": "acknowledged", "acknowledged": order.at}
            alarm = self.standing[order.limit] = self.standing[order.limit].model_copy(update=changes)
            return [Transition(at=order.at, what="acknowledged", alarm=alarm)]
        return []

    def alarms(self) -> list[Alarm]:
        return list(self.standing.values())

    def detected(self, ended: list[Any], ledger: Ledger | None = None) -> Result:
        return Result()

    def snapshot(self) -> dict[str, Any]:
        return {"version": self.version, "seen": self.seen, "minute": self.minute}

    @classmethod
    def restore(cls, snapshot: dict[str, Any]) -> "FakeWatch":
        if snapshot["version"] != cls.version:
            raise ValueError("another version")
        watch = cls()
        watch.seen, watch.minute = snapshot["seen"], snapshot["minute"]
        return watch


class FakeTroubles:
    def __init__(self) -> None:
        self.now: dict[str, str] = {}
        self.told: list[str] = []

    def seen(self, kind: str, why: str, now_us: int) -> None:
        self.now[kind] = why
        if kind not in self.told:
            self.told.append(kind)

    def over(self, kind: str, now_us: int) -> None:
        self.now.pop(kind, None)

    def letters(self, now_us: int) -> list[Letter]:
        return []


def plan(events: Sequence[tuple[int, Any]], now_us: int) -> list[Letter]:
    return [
        Letter(f"{number} {event.what}", now_us, "high", "alarm", event.alarm.limit)
        for number, event in events
        if isinstance(event, Transition)
    ]


@dataclass
class Bench:
    """A keeper without threads."""

    home: Home
    clock: FakeClock
    keeper: Keeper
    reader: Reader
    feed: FakeFeed
    troubles: FakeTroubles
    journal: Journal

    @property
    def watch(self) -> FakeWatch:
        watch = self.keeper.guard.watch
        assert isinstance(watch, FakeWatch)
        return watch

    def hear(self, first_us: int, **what: Any) -> None:
        """An arrival, and the step that takes it."""
        self.reader.put(arrival(first_us, **what))
        self.step()

    def step(self, seconds: float = 1.5) -> None:
        self.clock.go(seconds)
        self.keeper.step()


def bench(
    folder: Path, clock: FakeClock | None = None, new: Any = FakeWatch, restore: Any = None, **more: Any
) -> Bench:
    clock = clock or FakeClock()
    home = Home(folder / "van")
    journal = Journal(home, **more)
    guard = Guard(new, restore or FakeWatch.restore, journal.resume)
    reader, feed, troubles = Reader(FakeLogger(), clock), FakeFeed(journal.resume().ledger), FakeTroubles()
    keeper = Keeper("van", home, journal, guard, feed, reader, plan, troubles, clock, clock.wall)
    home.inbox.mkdir(parents=True, exist_ok=True)
    keeper.start()
    return Bench(home, clock, keeper, reader, feed, troubles, journal)


def order(kind: str, at_us: int = EPOCH_US, **what: Any) -> Order:
    return replace_id(Order(id="", at=at_us, kind=kind, **what))  # type: ignore[arg-type]  # a word of the tests


def replace_id(given: Order) -> Order:
    return given.model_copy(update={"id": f"{given.at:016d}-{given.kind}-{given.limit}"})
