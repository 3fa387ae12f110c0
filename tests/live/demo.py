"""A vehicle's life as the journal would hold it: a recorded demo log, what the engine finds, alarms and assessments."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC
from pathlib import Path

from monitor.assess import assess
from monitor.base.documents import load_document
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.results import Drive, Mark, QuarterHour, Stand
from monitor.base.samples import Block
from monitor.base.vehicle import Vehicle
from monitor.detect import Engine, Facts, Finding
from monitor.sources import open_logs
from monitor.store.forward_assessment import assessment_event
from tests.store.forwarding import MemoryJournal, rules, transition

HOUSE = Path(__file__).parents[2]
KINDS = {Stand: "stand", Drive: "drive", QuarterHour: "quarter"}


def demo(name: str) -> tuple[Vehicle, MemoryJournal]:
    """The journal of a demo log of the vehicle in deploy/vehicle.toml, under the log's name."""
    vehicle = load_document(HOUSE / "deploy" / "vehicle.toml", Vehicle).model_copy(update={"name": name})
    log = open_logs([HOUSE / "replay_logs" / f"{name}.csv.gz"], vehicle.log)
    return vehicle, journalled(vehicle, log.blocks(), log.ledger)


def journalled(vehicle: Vehicle, blocks: Iterable[Block], ledger: Ledger) -> MemoryJournal:
    """The samples in pieces, and the events after each; an alarm, a mark and an assessment near the end."""
    engine = Engine(Facts.of(vehicle))
    journal = MemoryJournal()
    ended: list[Finding] = []
    last_us = 0
    for block in blocks:
        if not last_us:
            journal.add(rules(int(block.t_us[0]), '{"name": "default"}'))
        for begin in range(0, len(block), 5000):
            piece = block[begin : begin + 5000]
            last_us = int(piece.t_us[-1])
            journal.add(piece)
            found = engine.update(piece)
            ended += found
            for event in found:
                journal.add((KINDS[type(event)], event.start, event.model_dump_json()))
    result = assess(engine.document(ended, ledger, vehicle.name), vehicle, UTC)
    journal.add(transition(last_us - 3_600_000_000))
    mark = Mark(at=last_us - 1_800_000_000, kind="fuse", text="fuse 23 out")
    journal.add(Order(id="mark", at=mark.at, kind="mark", mark=mark))
    event = assessment_event(result)
    assert event is not None
    journal.add(event[1:])
    return journal
