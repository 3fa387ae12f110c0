"""The engine: blocks in, stands and drives out. One for live and replay, and pure: no clock, no files, no chance.

    blocks → whole seconds (Binner) → cranks → phases (a delay line until certain) → the stand or drive that is open

`update` returns what has ended; `document` says all there is now, as if the log ended here, without changing anything.
Everything remembered is in plain state objects: `snapshot` and `restore` carry the engine into another process.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable
from datetime import UTC
from typing import Any

from monitor.base.ledger import Ledger
from monitor.base.results import ClockStep, Drive, Log, QuarterHour, RefusedRow, Result, Stand
from monitor.base.samples import Block
from monitor.base.state import VERSION, from_plain, to_plain
from monitor.detect.cranks import CrankDetector
from monitor.detect.drive import DriveTracker
from monitor.detect.facts import Facts
from monitor.detect.overview import Overview
from monitor.detect.phases import Begin, Event, FailedStart, Phases, Take
from monitor.detect.quarters import QuarterHours, days_of
from monitor.detect.seconds import Binned, Binner
from monitor.detect.sign import SignCheck
from monitor.detect.stand import StandTracker

Finding = Stand | Drive | QuarterHour


class Engine:
    """Detects stands and drives and what happened in them, for one vehicle.

    >>> import numpy as np
    >>> engine = Engine(Facts())
    >>> t = np.arange(0, 600, dtype=np.int64) * 1_000_000
    >>> engine.update(Block(t, np.full(600, 12.6), np.full(600, -0.02)))
    []
    >>> engine.document([]).stands[0].open
    True
    """

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.binner = Binner(facts.gap_s)
        self.cranks = CrankDetector(facts)
        self.phases = Phases(facts)
        self.overview = Overview()
        self.sign = SignCheck(facts)
        self.quarters = QuarterHours()
        self.stand: StandTracker | None = None
        self.drive: DriveTracker | None = None

    def update(self, block: Block) -> list[Finding]:
        """Take the next samples; returns the stands, drives and quarter hours of charge that have ended."""
        return self.detect(self.binner.update(block))

    def document(
        self, ended: list[Finding], ledger: Ledger | None = None, vehicle: str = "unnamed", ahead: Binned | None = None
    ) -> Result:
        """The result document of the findings that have ended and the one that is open.

        ahead   what the binner has given and `detect` has not taken yet
        """
        last = copy.deepcopy(self)
        findings = [*ended, *(last.detect(ahead) if ahead is not None else []), *last._finish()]
        log = _log(last.overview.log(), last.sign, ledger or Ledger())
        quarters = [f for f in findings if isinstance(f, QuarterHour)]
        return Result(
            vehicle=vehicle,
            log=log,
            stands=[f for f in findings if isinstance(f, Stand)],
            drives=[f for f in findings if isinstance(f, Drive)],
            balance=days_of(quarters, log.gaps, log.unobserved_s, UTC),
            quarters=quarters,
        )

    def snapshot(self) -> dict[str, Any]:
        """All the engine remembers, ready for JSON."""
        trackers = {"stand": _stand_state(self.stand), "drive": _drive_state(self.drive)}
        parts = {
            name: getattr(self, name).state for name in ("binner", "cranks", "phases", "overview", "sign", "quarters")
        }
        return {"version": VERSION, "state": to_plain(parts | trackers)}

    @classmethod
    def restore(cls, facts: Facts, snapshot: dict[str, Any]) -> Engine:
        """The engine of `snapshot`, to go on where it stood; ValueError when another version wrote it."""
        if snapshot["version"] != VERSION:
            raise ValueError(f"state version {snapshot['version']}, this program writes {VERSION}")
        state = from_plain(snapshot["state"])
        engine = cls(facts)
        for name in ("binner", "cranks", "phases", "overview", "sign", "quarters"):
            getattr(engine, name).state = state[name]
        if state["stand"] is not None:
            own, plateaus, rest, loads = state["stand"]
            engine.stand = StandTracker(facts, own.start_us, own.seen)
            engine.stand.state, engine.stand.plateaus.state = own, plateaus
            engine.stand.rest.state, engine.stand.loads.state = rest, loads
        if state["drive"] is not None:
            own, charging = state["drive"]
            engine.drive = DriveTracker(facts, own.start_us, own.crank, own.runs_us)
            engine.drive.state, engine.drive.charging.state = own, charging
        return engine

    def detect(self, binned: Binned) -> list[Finding]:
        """Take the next whole seconds, as this engine's binner gave them; `update` does both."""
        seconds = binned.seconds
        if not len(seconds):
            return []
        t_us = binned.samples.t_us
        self.overview.update(seconds, int(t_us[0]), int(t_us[-1]), binned.gaps)
        self.sign.update(seconds)
        quarters = self.quarters.update(seconds)
        found, undecided_s = self.cranks.update(binned.samples, seconds)
        return [*quarters, *self._follow(self.phases.update(seconds, found, undecided_s))]

    def _follow(self, events: list[Event]) -> list[Finding]:
        ended: list[Finding] = []
        for event in events:
            if isinstance(event, Begin):
                ended += self._end(event.at_us, is_open=False)
                if event.what == "stand":
                    self.stand = StandTracker(self.facts, event.at_us, event.seen)
                else:
                    self.drive = DriveTracker(self.facts, event.at_us, event.crank, event.runs_us)
            elif isinstance(event, Take):
                if self.stand is not None:
                    self.stand.update(event.seconds)
                elif self.drive is not None:
                    self.drive.update(event.seconds, event.running)
            elif isinstance(event, FailedStart):
                if self.stand is not None:
                    self.stand.failed_start(event.crank)
            elif self.drive is not None:
                self.drive.stopped(event.start_us, event.end_us)
        return ended

    def _end(self, end_us: int, is_open: bool) -> list[Finding]:
        ended: list[Finding] = []
        if self.stand is not None:
            self.stand.flush()
            ended.append(self.stand.result(end_us, is_open))
        if self.drive is not None:
            ended.append(self.drive.result(end_us, is_open))
        self.stand = self.drive = None
        return ended

    def _finish(self) -> list[Finding]:
        """The log ends here: decide what waits, and close what is open, as open."""
        ended = self.detect(self.binner.flush())
        ended += self.quarters.flush()
        ended += self._follow(self.phases.update(self.phases.state.held[:0], self.cranks.flush(), None))
        ended += self._follow(self.phases.flush())
        last_us = self.overview.state.last_us
        return ended + self._end(last_us, is_open=True) if last_us is not None else ended


def replay(blocks: Iterable[Block], ledger: Ledger, facts: Facts, vehicle: str = "unnamed") -> Result:
    """The result document of a whole recorded log; `ledger` is read after the last block."""
    engine = Engine(facts)
    ended: list[Finding] = []
    for block in blocks:
        ended += engine.update(block)
    return engine.document(ended, ledger, vehicle)


def _log(log: Log, sign: SignCheck, ledger: Ledger) -> Log:
    log.refused = dict(sorted(ledger.refused.items()))
    log.refused_first = {
        reason: [RefusedRow(file=r.file, line=r.line, text=r.text) for r in rows]
        for reason, rows in sorted(ledger.first.items())
    }
    log.duplicates, log.reordered = ledger.duplicates, ledger.reordered
    log.clock_steps = [ClockStep(at=at, seconds=size) for at, size in ledger.clock_steps]
    log.notices = sign.notices()
    return log


def _stand_state(stand: StandTracker | None) -> tuple[Any, ...] | None:
    return None if stand is None else (stand.state, stand.plateaus.state, stand.rest.state, stand.loads.state)


def _drive_state(drive: DriveTracker | None) -> tuple[Any, ...] | None:
    return None if drive is None else (drive.state, drive.charging.state)
