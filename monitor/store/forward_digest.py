"""Records of the journal → lines for a database server, with the little that must be remembered between them.

What is remembered (the unfinished second and step, the rules in force, the last time of each series of events) travels
with the cursor, so that records read again after a crash make the identical lines, and a server that has them already
stores nothing twice.

Servers keep one point per series and time, some of them in milliseconds. Of two events of one series in the same
millisecond the later is placed a millisecond later, rather than lost.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.base.alarms import Transition
from monitor.base.orders import Order
from monitor.base.samples import SECOND_US, Block, Floats, Seconds
from monitor.base.state import from_plain, to_plain
from monitor.base.tables.database import FULL, DatabaseTable
from monitor.base.vehicle import Vehicle
from monitor.detect.seconds import Binner, BinnerState
from monitor.store.entries import Event, Given, Record, Samples
from monitor.store.forward_backlog import Rejected
from monitor.store.forward_findings import AH_PER_NC, Finding, findings, mark
from monitor.store.forward_steps import Steps, StepState
from monitor.store.lines import Lines
from monitor.store.points import point, table

MS = 1000  # µs
UNNAMED = "unnamed"  # limits whose rules were never journalled
CHANNELS = ("volts", "amps", "celsius")
# Seconds and steps of a backlog: measured, 14 µs a row instead of 2, for the 10 MiB that pyarrow.compute would keep.
ONE_BY_ONE = 10_000


def limits_label(rules: str) -> str:
    """A short name for rules as they travel in an order: their own name, and a few digits that differ with any limit.

    >>> limits_label('{"name": "default", "limits": []}')
    'default-702534aa'
    """
    digits = hashlib.sha256(rules.encode()).hexdigest()[:8]
    try:
        name = json.loads(rules)["name"]
    except (ValueError, KeyError, TypeError):
        return digits
    return f"{name}-{digits}"


@dataclass(slots=True)
class DigestState:
    """What is remembered from record to record.

    limits   label of the rules in force
    step_s   step of `steps`; a new one begins afresh
    raised   label of the rules by which each limit was raised last
    series   of each series of events: the last event's ms, and how many had it before
    """

    limits: str
    binner: BinnerState = field(default_factory=BinnerState)
    step_s: int | None = None
    steps: StepState = field(default_factory=StepState)
    raised: dict[str, str] = field(default_factory=dict)
    series: dict[str, tuple[int, int]] = field(default_factory=dict)


class Digest:
    """Makes lines of one vehicle's records.

    rejected   what could not be made a point, and why; for the caller to take
    last_us    time of the last sample taken; None: none yet
    """

    def __init__(self, vehicle: Vehicle, table: DatabaseTable, limits: str = UNNAMED, state: str = "") -> None:
        """`state` is what the property gave earlier; one that another version wrote is left, with its open second."""
        self.tags = {"vehicle": vehicle.name}
        self.samples, self.seconds = table.samples, table.seconds
        self.remembered = _restored(state) or DigestState(limits)
        self.binner = Binner(vehicle.log.gap_s)
        self.binner.state = self.remembered.binner
        self.steps = Steps(table.step_s) if table.step_s else None
        if self.steps and self.remembered.step_s == table.step_s:
            self.steps.state = self.remembered.steps
        self.remembered.step_s = table.step_s
        self.rejected: list[Rejected] = []
        self.last_us: int | None = None

    @property
    def state(self) -> str:
        """All it remembers, as text."""
        self.remembered.binner = self.binner.state
        if self.steps:
            self.remembered.steps = self.steps.state
        return json.dumps(to_plain(self.remembered), separators=(",", ":"))

    def update(self, records: Sequence[Record]) -> Lines:
        """The lines of the next records: samples, seconds, then events."""
        blocks = [record.block for record in records if isinstance(record, Samples)]
        events: list[str] = []
        for record in records:
            if isinstance(record, Given):
                events += self._order(record.order)
            elif isinstance(record, Event):
                events += self._event(record)
        return Lines.joined([*(self._samples(_joined(blocks)) if blocks else []), events])

    def _order(self, order: Order) -> list[str]:
        if order.kind == "rules" and order.text:
            self.remembered.limits = limits_label(order.text)
        return self._points(mark(order))

    def _event(self, event: Event) -> list[str]:
        try:
            return self._points(findings(event.kind, event.t_us, event.body, self._limits_of))
        except ValueError as wrong:
            self.rejected.append((f"event {event.number}, {event.kind}: {event.body}", f"no {event.kind}: {wrong}"))
            return []

    def _limits_of(self, step: Transition) -> str:
        """An alarm keeps the label of the rules that raised it: a later step in another series would leave it open."""
        raised = self.remembered.raised
        if step.what == "raised":
            raised[step.alarm.limit] = self.remembered.limits
        return raised.get(step.alarm.limit, self.remembered.limits)

    def _samples(self, block: Block) -> list[Sequence[str]]:
        self.last_us = int(block.t_us[-1])
        lines: list[Sequence[str]] = []
        if self.samples == FULL:
            columns = {name: values for name in CHANNELS if (values := getattr(block, name)) is not None}
            lines.append(table("keyoff_sample", self.tags | {"step": FULL}, block.t_us, columns))
        if self.steps is None and not self.seconds:
            return lines
        binned = self.binner.update(block)
        if self.steps is not None:
            t_us, fields = self.steps.update(binned.samples)
            tags = self.tags | {"step": f"{self.steps.step_s}s"}
            lines.append(table("keyoff_sample", tags, t_us, fields, ONE_BY_ONE))
        if self.seconds and len(binned.seconds):
            at_us = binned.seconds.second * SECOND_US
            lines.append(table("keyoff_second", self.tags, at_us, _fields(binned.seconds), ONE_BY_ONE))
        return lines

    def _points(self, found: Iterable[Finding]) -> list[str]:
        lines = []
        for measurement, more, fields, t_us in found:
            tags = {**self.tags, **more}
            series = f"{measurement},{','.join(tags.values())}"
            at_ms, before = self.remembered.series.get(series, (None, 0))
            late = before + 1 if at_ms == t_us // MS else 0
            line = point(measurement, tags, fields, t_us + late * MS)
            if line is not None:
                self.remembered.series[series] = (t_us // MS, late)
                lines.append(line)
        return lines


def _restored(text: str) -> DigestState | None:
    try:
        state = from_plain(json.loads(text)) if text else None
    except (ValueError, TypeError, KeyError, AttributeError, ImportError):
        return None
    return state if isinstance(state, DigestState) else None


def _fields(seconds: Seconds) -> dict[str, Floats]:
    fields = {name: getattr(seconds, name) for name in ("volts_min", "volts_max", "amps_min", "amps_max", "celsius")}
    fields |= {name: np.round(getattr(seconds, name), 6) for name in ("volts", "amps")}  # µV, µA: as in forward_steps
    counted = ~np.isnan(seconds.amps)
    for name, charge in (("in_ah", seconds.in_nc), ("out_ah", seconds.out_nc)):
        fields[name] = np.where(counted, np.round(charge * AH_PER_NC, 12), np.nan)
    return fields | {"gap_s": np.where(seconds.gap_us > 0, seconds.gap_us / SECOND_US, np.nan)}


def _joined(blocks: list[Block]) -> Block:
    """The blocks as one; NaN where one of them lacks a channel that another has."""
    if len(blocks) == 1:
        return blocks[0]
    return Block(
        np.concatenate([block.t_us for block in blocks]),
        np.concatenate([block.volts for block in blocks]),
        _channel([block.amps for block in blocks], blocks),
        _channel([block.celsius for block in blocks], blocks),
    )


def _channel(parts: list[Floats | None], blocks: list[Block]) -> Floats | None:
    if all(part is None for part in parts):
        return None
    return np.concatenate(
        [np.full(len(block), np.nan) if part is None else part for part, block in zip(parts, blocks, strict=True)]
    )
