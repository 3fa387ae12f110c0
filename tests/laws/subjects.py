"""Every detector behind one door, so that each law is written once.

A subject is fed a log from one position to the next, in units of its own (samples, or whole seconds), and says as text
all it has told so far and all it would say if the log ended there.
"""

from __future__ import annotations

import copy
import importlib
import inspect
import json
import pkgutil
from abc import ABC, abstractmethod
from dataclasses import is_dataclass
from typing import Any

import numpy as np

import monitor.detect
from monitor.base.ledger import Ledger
from monitor.base.samples import SECOND_US, Block, Seconds
from monitor.base.state import from_plain, to_plain
from monitor.detect import Engine
from monitor.detect.charging import ChargingDetector
from monitor.detect.cranks import CrankDetector
from monitor.detect.drive import DriveTracker
from monitor.detect.facts import Facts
from monitor.detect.loads import LoadSteps
from monitor.detect.overview import Overview
from monitor.detect.phases import Phases, Take
from monitor.detect.plateaus import PlateauTracker
from monitor.detect.quarters import QuarterHours
from monitor.detect.rest import RestDetector, SleepView
from monitor.detect.seconds import Binner
from monitor.detect.sign import SignCheck
from monitor.detect.sleep import asleep
from monitor.detect.stand import StandTracker
from tests.laws.logs import Log, join_binned


def discovered() -> set[type]:
    """Every class of the room that is fed by `update`."""
    found = set()
    for module in pkgutil.iter_modules(monitor.detect.__path__, "monitor.detect."):
        for _, kind in inspect.getmembers(importlib.import_module(module.name), inspect.isclass):
            if kind.__module__.startswith("monitor.detect") and callable(getattr(kind, "update", None)):
                found.add(kind)
    return found


def parts_of(detector: Any) -> dict[str, Any]:
    """The detector and the detectors it holds, by the path of their attributes."""
    parts = {"": detector}
    for name, value in vars(detector).items():
        if type(value) in discovered():
            parts |= {f"{name}.{inner}".rstrip("."): part for inner, part in parts_of(value).items()}
    return parts


class Subject(ABC):
    """One detector being fed a log."""

    kind: type
    flushes: bool = False  # whether saying all needs a flush, which the detector itself must not see

    def __init__(self, log: Log) -> None:
        self.log = log
        self.detector = self.make()
        self.told: list[Any] = []

    @classmethod
    def length(cls, log: Log) -> int:
        """Positions a log has for this subject: whole seconds."""
        return len(log.binned.seconds)

    @abstractmethod
    def make(self) -> Any:
        """A fresh detector."""

    @abstractmethod
    def feed(self, begin: int, end: int) -> None:
        """The log from one position to another."""

    @abstractmethod
    def says(self, detector: Any) -> Any:
        """All the detector says if the log ends here; where it `flushes`, it is a copy."""

    def text(self) -> str:
        """All that was told and would be told, as JSON."""
        return json.dumps(to_plain(self.says(copy.deepcopy(self.detector) if self.flushes else self.detector)))

    def saved(self) -> str:
        """The detector's memory as JSON."""
        return json.dumps({path: to_plain(part.state) for path, part in parts_of(self.detector).items()})

    def resume(self, saved: str) -> None:
        """Go on with a fresh detector that was given this memory."""
        self.detector = self.make()
        parts = parts_of(self.detector)
        for path, state in json.loads(saved).items():
            parts[path].state = from_plain(state)


class OfBinner(Subject):
    kind = Binner
    flushes = True

    @classmethod
    def length(cls, log: Log) -> int:
        return len(log.block)

    def make(self) -> Any:
        return Binner(self.log.facts.gap_s)

    def feed(self, begin: int, end: int) -> None:
        self.told.append(self.detector.update(self.log.block[begin:end]))

    def says(self, detector: Any) -> Any:
        joined = join_binned([*self.told, detector.flush()])
        whole = Block(joined.samples.t_us, joined.samples.volts, joined.samples.amps)  # celsius is told in the seconds
        return joined.seconds, whole, joined.gaps


class OfEngine(OfBinner):
    kind = Engine
    flushes = False

    def make(self) -> Any:
        return Engine(self.log.facts)

    def feed(self, begin: int, end: int) -> None:
        self.told += self.detector.update(self.log.block[begin:end])

    def says(self, detector: Any) -> Any:
        return detector.document(self.told, Ledger()).model_dump_json()

    def saved(self) -> str:
        return json.dumps(self.detector.snapshot())

    def resume(self, saved: str) -> None:
        self.detector = Engine.restore(self.log.facts, json.loads(saved))


class OfCranks(Subject):
    kind = CrankDetector
    flushes = True

    def make(self) -> Any:
        return CrankDetector(self.log.facts)

    def feed(self, begin: int, end: int) -> None:
        self.told += self.detector.update(*_with_samples(self.log, begin, end))[0]

    def says(self, detector: Any) -> Any:
        return [*self.told, *detector.flush()]


class OfPhases(Subject):
    """Fed by a crank detector of its own, which is never interrupted."""

    kind = Phases
    flushes = True

    def __init__(self, log: Log) -> None:
        super().__init__(log)
        self.cranks = CrankDetector(log.facts)

    def make(self) -> Any:
        return Phases(self.log.facts)

    def feed(self, begin: int, end: int) -> None:
        samples, seconds = _with_samples(self.log, begin, end)
        self.told += self.detector.update(seconds, *self.cranks.update(samples, seconds))

    def says(self, detector: Any) -> Any:
        last = detector.update(self.log.binned.seconds[:0], copy.deepcopy(self.cranks).flush(), None)
        events: list[Any] = []
        for event in [*self.told, *last, *detector.flush()]:
            last_told = events[-1] if events else None
            if not isinstance(event, Take):
                events.append(event)
            elif isinstance(last_told, Take) and last_told.running == event.running:
                events[-1] = Take(Seconds.join([last_told.seconds, event.seconds]), event.running)
            elif len(event.seconds):
                events.append(event)
        return events


class OfOverview(Subject):
    kind = Overview

    def make(self) -> Any:
        return Overview()

    def feed(self, begin: int, end: int) -> None:
        samples, seconds = _with_samples(self.log, begin, end)
        if len(seconds):
            first, last = int(samples.t_us[0]), int(samples.t_us[-1])
            gaps = [g for g in self.log.binned.gaps if first <= g[1] <= last]
            self.detector.update(seconds, first, last, gaps)

    def says(self, detector: Any) -> Any:
        return detector.log()


class OfSeconds(Subject):
    """A detector that is fed whole seconds."""

    def feed(self, begin: int, end: int) -> None:
        self.told += self.detector.update(self.log.binned.seconds[begin:end]) or []


class OfSign(OfSeconds):
    kind = SignCheck

    def make(self) -> Any:
        return SignCheck(self.log.facts)

    def says(self, detector: Any) -> Any:
        return detector.notices()


class OfLoadSteps(OfSeconds):
    kind = LoadSteps

    def make(self) -> Any:
        return LoadSteps()

    def says(self, detector: Any) -> Any:
        return detector.state.steps


class OfQuarterHours(OfSeconds):
    kind = QuarterHours

    def make(self) -> Any:
        return QuarterHours()

    def says(self, detector: Any) -> Any:
        return [*self.told, *detector.flush()]


class OfPlateaus(OfSeconds):
    kind = PlateauTracker
    flushes = True

    def make(self) -> Any:
        return PlateauTracker()

    def says(self, detector: Any) -> Any:
        return [*self.told, *detector.flush()], asleep(detector.state, self.log.facts)


class OfRest(OfSeconds):
    kind = RestDetector

    def make(self) -> Any:
        return RestDetector(self.log.facts, _start_us(self.log))

    def says(self, detector: Any) -> Any:
        return detector.result(SleepView(_start_us(self.log) + 900 * SECOND_US, 0.02, _end_us(self.log)))


class OfStand(OfSeconds):
    kind = StandTracker
    flushes = True

    def make(self) -> Any:
        return StandTracker(self.log.facts, _start_us(self.log), True)

    def says(self, detector: Any) -> Any:
        detector.flush()
        return detector.result(_end_us(self.log), True)


class OfDrive(OfSeconds):
    """Five minutes in twenty are a stop."""

    kind = DriveTracker

    def make(self) -> Any:
        return DriveTracker(self.log.facts, _start_us(self.log), None, _start_us(self.log))

    def feed(self, begin: int, end: int) -> None:
        seconds = self.log.binned.seconds[begin:end]
        if not len(seconds):
            self.detector.update(seconds, True)
            return
        running = seconds.second // 300 % 4 != 0
        edges = np.flatnonzero(np.diff(running)) + 1
        for a, b in zip([0, *edges.tolist()], [*edges.tolist(), len(seconds)], strict=True):
            self.detector.update(seconds[a:b], bool(running[a]))

    def says(self, detector: Any) -> Any:
        return detector.result(_end_us(self.log), True)


class OfCharging(OfDrive):
    kind = ChargingDetector

    def make(self) -> Any:
        return ChargingDetector(self.log.facts, _start_us(self.log), True)

    def says(self, detector: Any) -> Any:
        return detector.result()


SUBJECTS: tuple[type[Subject], ...] = (
    OfEngine,
    OfBinner,
    OfCranks,
    OfPhases,
    OfOverview,
    OfSign,
    OfQuarterHours,
    OfLoadSteps,
    OfPlateaus,
    OfRest,
    OfStand,
    OfDrive,
    OfCharging,
)


def has_state(subject: type[Subject], facts: Facts | None = None) -> bool:
    """Whether all the detector remembers is in a dataclass called `state`, in each of its parts."""
    empty = Block(np.array([0]), np.array([12.6]), np.array([-0.02]))
    detector = subject(Log("one sample", empty, facts or Facts())).detector
    parts = [part for path, part in parts_of(detector).items() if path or subject is not OfEngine]
    return all(is_dataclass(part.state) for part in parts)


def _with_samples(log: Log, begin: int, end: int) -> tuple[Block, Any]:
    """Whole seconds and the samples they were made of."""
    seconds, samples = log.binned.seconds[begin:end], log.binned.samples
    if not len(seconds):
        return samples[:0], seconds
    bounds = np.searchsorted(samples.t_us, [seconds.second[0] * SECOND_US, (seconds.second[-1] + 1) * SECOND_US])
    return samples[int(bounds[0]) : int(bounds[1])], seconds


def _start_us(log: Log) -> int:
    return int(log.block.t_us[0]) if len(log.block) else 0


def _end_us(log: Log) -> int:
    return int(log.block.t_us[-1]) if len(log.block) else 0
