"""A journal in memory, servers that answer as told, and a forwarder between them: for tests of the forwarder."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.base.alarms import Alarm, Transition
from monitor.base.orders import Order
from monitor.base.samples import SECOND_US, Block
from monitor.base.tables.database import DatabaseTable
from monitor.base.vehicle import Vehicle
from monitor.store.entries import Cursor, Event, Given, Page, Record, Samples
from monitor.store.forward_backlog import Step
from monitor.store.forward_server import Answer, Server
from monitor.store.forwarder import Forwarder
from monitor.store.stream import BULK_ROWS

T0_S = 1_741_000_000  # 2025-03-03, on a ten seconds' border
T0 = T0_S * SECOND_US


def van(url: str = "http://127.0.0.1:1", name: str = "van, white", **table: object) -> Vehicle:
    return Vehicle(name=name, database=DatabaseTable.model_validate({"url": url, **table}))


@dataclass
class MemoryJournal:
    """The journal's stream and one cursor, in memory; counts what is read of it."""

    records: list[Record] = field(default_factory=list)
    position: int = 0
    state: str = ""
    rejected: list[tuple[str, str]] = field(default_factory=list)
    pages: int = 0
    full: bool = False
    closed: bool = False

    def add(self, *what: Block | Order | tuple[str, int, str]) -> None:
        """Append samples, orders, or events as (kind, µs, JSON)."""
        for one in what:
            at = len(self.records) + 1
            if isinstance(one, Block):
                self.records.append(Samples(at, one))
            elif isinstance(one, Order):
                self.records.append(Given(at, one))
            else:
                self.records.append(Event(at, at, *one))

    def cursor(self, name: str) -> Cursor:
        assert name == "database"
        return Cursor(name, self.position, None, len(self.rejected), 0, len(self.records) - self.position, self.state)

    def page(self, after: int, limit: int, together: bool = False) -> Page:
        self.pages += 1
        found: list[Record] = []
        samples = 0
        for record in self.records[after : after + limit]:
            found.append(record)
            samples += len(record.block) if isinstance(record, Samples) else 0
            if samples >= BULK_ROWS:
                break
        return Page(found, after + len(found), 0, after + len(found) == len(self.records))

    def close(self) -> None:
        self.closed = True

    def move(self, step: Step) -> None:
        if self.full:
            raise OSError(28, "No space left on device")
        assert step.position > self.position
        self.position, self.state = step.position, step.state
        self.rejected += step.rejected


@dataclass
class TestServer:
    """Stores lines by series and time, unless `answers` says otherwise; the last answer is repeated for ever."""

    __test__ = False
    name: str = "db.test"
    answer: Callable[[Sequence[str]], Answer] = lambda lines: Answer("accepted")
    stored: dict[str, str] = field(default_factory=dict)
    requests: list[list[str]] = field(default_factory=list)
    closed: bool = False

    def write(self, lines: Sequence[str]) -> Answer:
        self.requests.append(list(lines))
        answer = self.answer(lines)
        if answer.meaning == "accepted":
            for line in lines:
                series, fields, *at = split_line(line)
                self.stored[f"{series} {at[0] if at else 'now'}"] = fields
        return answer

    def close(self) -> None:
        self.closed = True


def split_line(line: str) -> tuple[str, ...]:
    """Series, fields and time of a line (blanks inside names are escaped)."""
    return tuple(part.replace("\0", "\\ ") for part in line.replace("\\ ", "\0").split(" "))


def forwarder(journal: MemoryJournal, server: Server, vehicle: Vehicle | None = None) -> Forwarder:
    return Forwarder(vehicle or van(), lambda: journal, journal.move, server=server, chance=lambda: 0.0)


def drain(forwarding: Forwarder, most: int = 10_000) -> list[float]:
    """Step until nothing is left to do at once; the waits that were asked for."""
    waits = []
    for _ in range(most):
        wait_s = forwarding.step()
        if wait_s:
            waits.append(wait_s)
            if forwarding.state["state"] == "current":
                return waits
    raise AssertionError(f"still {forwarding.state['state']} after {most} steps: {forwarding.state['last_error']}")


def block(start_s: float, rows: int, rate_hz: float = 1.0, volts: float = 12.6) -> Block:
    """Samples that differ from each other, so that a lost or doubled one shows."""
    t_us = T0 + np.round((start_s + np.arange(rows) / rate_hz) * SECOND_US).astype(np.int64)
    wave = (t_us // 100_000 % 997).astype(np.float64)
    return Block(t_us, np.round(volts + wave * 1e-4, 4), np.round(-0.02 - wave * 1e-5, 5), np.full(rows, 8.5))


def cut(whole: Block, lengths: Iterable[int]) -> list[Block]:
    """The block in pieces of these lengths, in turn."""
    pieces, at = [], 0
    turn = list(lengths)
    while at < len(whole):
        length = turn[len(pieces) % len(turn)]
        pieces.append(whole[at : at + length])
        at += length
    return pieces


ALARM = Alarm(
    limit="sleep current",
    quantity="sleep_current",
    value=0.08,
    worst=0.09,
    unit="A",
    side="high",
    setpoint=0.05,
    priority="high",
    since=T0,
    raised=T0 + 60 * SECOND_US,
    state="unacknowledged",
    cause="a circuit stays on",
    response="measure the fuses",
)


def transition(at_us: int, setpoint: float = 0.05, **changes: object) -> tuple[str, int, str]:
    alarm = ALARM.model_copy(update={"setpoint": setpoint, **changes})
    what = "returned" if alarm.returned is not None else "raised"
    return "transition", at_us, Transition(at=at_us, what=what, alarm=alarm).model_dump_json()


def rules(at_us: int, text: str) -> Order:
    return Order(id=f"rules {at_us}", at=at_us, kind="rules", text=text)
