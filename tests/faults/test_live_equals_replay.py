"""What the service found while it logged is what a replay of its journal finds, byte for byte, restarts and all.

A simulated day at 10 Hz goes through the keeper as a logger that is sixty times as fast as the clock would send it, in
arrivals of any size, with orders, silences and crashes; then the journal alone is replayed, and so is the log offline.
"""

import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from monitor.assess import assess
from monitor.base.documents import load_document
from monitor.base.ledger import Ledger
from monitor.base.results import Mark, Result
from monitor.base.samples import Block
from monitor.base.vehicle import Vehicle
from monitor.detect import Facts
from monitor.detect import replay as offline
from monitor.limits.watch import Event, Watch
from monitor.service import inbox
from monitor.service.build import restored
from monitor.service.events import read, written
from monitor.service.gather import gathered
from monitor.service.guard import Guard
from monitor.service.keeper import Keeper
from monitor.service.reader import Reader
from monitor.simulate import Scenario, run
from monitor.sources.live.arrival import Arrival
from monitor.sources.live.feed import Feed
from monitor.sources.rows import Cells, Rows
from monitor.store.entries import Given, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from monitor.store.rules_files import load_rules
from tests.service.fakes import FakeClock, FakeLogger, FakeTroubles, order, plan

DEMO = Path(__file__).parents[2] / "replay_logs" / "module-wakes.toml"
VEHICLE = Vehicle(name="van")


def day() -> list[Block]:
    """24 hours at 10 Hz of a vehicle that is driven and whose module wakes."""
    scenario = load_document(DEMO, Scenario)
    return list(run(scenario, days=1.0, logger=scenario.logger.model_copy(update={"rate": 10.0})).blocks())


def opened(home: Home, clock: FakeClock) -> Keeper:
    """A keeper that goes on where the journal says, as after any start."""
    rules = load_rules(VEHICLE)
    journal = Journal(home)
    resume = journal.resume()
    guard = Guard(
        new=lambda: Watch(VEHICLE, rules, None),
        restore=lambda snapshot: restored(VEHICLE, rules, None, snapshot),
        resume=journal.resume,
    )
    feed = Feed(12.0, ledger=resume.ledger, last_us=resume.last_us)
    reader = Reader(FakeLogger(), clock)
    keeper = Keeper("van", home, journal, guard, feed, reader, plan, FakeTroubles(), clock, clock.wall)
    home.inbox.mkdir(exist_ok=True)
    keeper.start()
    return keeper


def rows(block: Block) -> Rows:
    channels = {
        name: Cells(values)
        for name, values in (("volts", block.volts), ("amps", block.amps), ("celsius", block.celsius))
        if values is not None
    }
    return Rows(block.t_us, channels, lambda row: None)  # type: ignore[arg-type,return-value]  # none is refused


def logged(home: Home, blocks: list[Block], chance: random.Random) -> Keeper:
    """Log the day: in arrivals of any size, an entry a second, a crash now and then."""
    clock = FakeClock(wall_us=int(blocks[0].t_us[0]))
    keeper = opened(home, clock)
    (whole,) = gathered(blocks)
    place, second = 0, 0
    while place < len(whole):
        for _ in range(chance.randint(1, 3)):
            size = min(chance.choice((1, 7, 300, 900)), len(whole) - place)
            if size:
                keeper.reader.put(Arrival(b"", rows(whole[place : place + size]), "speaking"))
            place += size
        second += 1
        clock.go(1.6)
        clock.wall_us = int(whole.t_us[min(place, len(whole) - 1)])
        if second % 200 == 0:
            mark = Mark(at=clock.wall_us, kind="note", text=f"second {second}")
            inbox.put(home, order("mark", clock.wall_us, mark=mark))
        keeper.step()
        if chance.random() < 0.01:  # killed: what is neither kept nor still with the logger is sent again
            keeper.journal.close()
            keeper = opened(home, clock)
            last_us = keeper.last_us
            place = 0 if last_us is None else int(np.searchsorted(whole.t_us, last_us, "right"))
    return keeper


def document(watch: Watch, told: list[Any], ledger: Ledger) -> str:
    """The result document of findings as they lie in a journal."""
    ended: list[Event] = []
    for kind, body in told:
        event = read(kind, body)
        assert event is not None
        ended.append(event)
    return watch.document(ended, replace(ledger, clock_steps=[])).model_dump_json()


def test_a_day_logged_live_is_what_its_journal_and_its_log_say(tmp_path: Path) -> None:
    blocks, home = day(), Home(tmp_path / "van")
    keeper = logged(home, blocks, random.Random(20261125))
    keeper.close()
    with JournalReader(home) as reader:
        told = [(event.kind, event.body) for event in reader.events()]
        books = reader.books()
        assert [event.number for event in reader.events()] == list(range(len(told)))
        again = Watch(VEHICLE, load_rules(VEHICLE), None)
        found: list[tuple[str, str]] = []
        after, done = 0, False
        while not done:
            page = reader.page(after)
            for record in page.records:
                events: list[Event] = []
                if isinstance(record, Samples):
                    events = again.update(record.block)
                elif isinstance(record, Given):
                    events = again.order(record.order)
                found += [(kind, body) for _, kind, _, body in (written(0, event) for event in events)]
            after, done = page.end, page.done
    assert keeper.guard.watch is not None
    assert found == told
    live = document(keeper.guard.watch, told, books)
    assert live == document(again, found, books)
    log = assess(offline(blocks, Ledger(), Facts.of(VEHICLE), "van"), VEHICLE, None)
    result = Result.model_validate_json(live)
    assert result.log.samples == log.log.samples == sum(map(len, blocks))
    for name in ("stands", "drives"):
        assert [part.model_dump_json() for part in getattr(result, name)] == [
            part.model_dump_json() for part in getattr(log, name)
        ]
    assert result.drives, "a day without a drive proves little"
    assert result.marks
