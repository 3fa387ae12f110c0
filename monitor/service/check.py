"""The fitting check: listens to the logger, asks for what only a person can do, and has the findings judged.

Two minutes before walking away, so that a night is not lost to a wrong sign or a full disk.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from monitor.assess import fitting
from monitor.assess.fitting import Finding
from monitor.base.samples import Block, Floats
from monitor.base.tables.notices import Destination
from monitor.base.vehicle import Vehicle
from monitor.service.destinations import Outcome
from monitor.sources.live.arrival import LinkState, LiveLogger
from monitor.sources.live.feed import Feed

FIRST_S = 20.0  # for the first reading: slow loggers, and instruments that are still switched on. Our choice
QUIET_S = 30.0  # the vehicle as it stands
STEP_S = 15.0  # each thing that a person does
LAST_S = 5.0  # at the end, whether it still speaks
POLL_S = 0.2

LAMPS = (
    "Switch the headlamps on and leave them on. Through a meter or shunt rated below 20 A: the parking lamps only. "
    "Do not start the engine."
)
OFF = "Switch the lamps off again."
ZERO = "Can you take all current off the clamp or shunt now (clamp off the cable; shunt bypassed) for 15 s?"
RESTORE = "Put clamp or shunt back as it was."


T = TypeVar("T")


class Person(Protocol):
    """Who is asked. None of an answer: nobody is there to ask."""

    def tell(self, text: str) -> bool:
        """Ask for something to be done; True once it is, False when nobody does it."""

    def question(self, text: str) -> bool | None:
        """A question to be answered by yes or no."""

    def note(self, text: str) -> None:
        """Say what goes on."""


@dataclass(slots=True)
class World:
    """What of this computer is looked at; a seam for tests.

    send   a notice to a destination, by the place of its address
    """

    wall_us: Callable[[], int]
    unset: Callable[[], str | None]
    free_bytes: Callable[[], int | None]
    send: Callable[[str, str, str], Outcome]
    monotonic: Callable[[], float] = time.monotonic


class Listener:
    """Takes what the logger says, a stretch at a time."""

    def __init__(self, logger: LiveLogger, nominal_v: float, monotonic: Callable[[], float]) -> None:
        self.state: LinkState = "opening"
        self.why = ""
        self.stamped = False
        self.feed = Feed(nominal_v)
        self._logger = logger
        self._now = monotonic

    def hear(self, seconds: float, first_only: bool = False) -> Block:
        """All samples that come within so many seconds; with `first_only` no longer than until the first."""
        end = self._now() + seconds
        blocks: list[Block] = []
        while self._now() < end and not (first_only and blocks):
            blocks.extend(self._look())
        return _joined(blocks)

    def meanwhile(self, ask: Callable[[], T]) -> T:
        """What `ask` gives. What comes until then is heard and passed over: nothing piles up, and no link ends."""
        answered = threading.Event()

        def pass_over() -> None:
            while not answered.is_set():
                self._look()

        thread = threading.Thread(target=pass_over, name="check: passing over", daemon=True)
        thread.start()
        try:
            return ask()
        finally:
            answered.set()
            thread.join()

    def _look(self) -> list[Block]:
        arrival = self._logger.poll(POLL_S)
        self.state, self.why = arrival.state, arrival.why
        if arrival.rows is not None:
            self.stamped = arrival.stamped
        return self.feed.push(arrival, self._now())


def check(vehicle: Vehicle, logger: LiveLogger, person: Person, world: World) -> list[Finding]:
    """Findings in the order in which they were made."""
    listener = Listener(logger, vehicle.battery.nominal_v, world.monotonic)
    person.note(f"Listening to {logger.name}.")
    first = listener.hear(FIRST_S, first_only=True)
    findings = [_link(logger, listener, bool(len(first)))]
    usual_s: float | None = None
    if len(first):
        person.note(f"Measuring for {QUIET_S:.0f} s. Ignition off, leave everything as it is.")
        quiet = listener.hear(QUIET_S)
        findings += _quiet(vehicle, listener, quiet)
        usual_s = float(np.median(np.diff(quiet.t_us))) / 1e6 if len(quiet) > 2 else None
        findings += _zero(vehicle, listener, person, quiet)
        findings += _lamps(listener, person, quiet)
        last = listener.hear(max(LAST_S, 3 * (usual_s or 0.0)))
        if not len(last):
            findings.append(_fell_silent(logger, listener))
        ahead_s = (int(last.t_us[-1]) - world.wall_us()) / 1e6 if len(last) else None
        findings.append(fitting.clock(world.unset(), listener.stamped, ahead_s))
    else:
        findings.append(fitting.clock(world.unset(), True, None))
    findings.append(fitting.disk(world.free_bytes(), vehicle.store.spare_bytes, usual_s))
    findings += _notices(vehicle.notices.destinations, person, world)
    return findings


def _link(logger: LiveLogger, listener: Listener, heard: bool) -> Finding:
    if heard:
        identity = str(getattr(logger, "identity", ""))
        said = f"{logger.name} speaks" + (f", it is {identity}" if identity else "")
        return Finding(name="logger", judgement="ok", found=said)
    state = listener.state.replace("_", " ")
    reasons = ", ".join(listener.feed.ledger.refused)
    found = f"{logger.name}: {state}; no reading within {FIRST_S:.0f} s" + (f"; refused: {reasons}" * bool(reasons))
    mend = listener.why or "check that it is on, and [source] url"
    return Finding(name="logger", judgement="mend", found=found, mend=mend)


def _fell_silent(logger: LiveLogger, listener: Listener) -> Finding:
    found = f"{logger.name} spoke at first and then fell silent: {listener.state.replace('_', ' ')}"
    mend = listener.why or "look for a loose plug, or a logger that switches itself off"
    return Finding(name="logger stays", judgement="mend", found=found, mend=mend)


def _quiet(vehicle: Vehicle, listener: Listener, quiet: Block) -> list[Finding]:
    refused = sum(listener.feed.ledger.refused.values())
    return [
        *fitting.rate(quiet.t_us, refused, QUIET_S),
        fitting.volts(quiet.volts, vehicle.battery.nominal_v, listener.feed.advice),
        *fitting.fine_enough(quiet),
    ]


def _zero(vehicle: Vehicle, listener: Listener, person: Person, quiet: Block) -> list[Finding]:
    if quiet.amps is None:
        return []
    if not listener.meanwhile(lambda: person.question(ZERO)):
        found = "not looked at: a zero that is off by 10 mA is a drain of 10 mA too much or too little"
        return [Finding(name="zero", judgement="unknown", found=found)]
    listener.hear(2.0)  # what came while the hand was still at it
    during = listener.hear(STEP_S)
    listener.meanwhile(lambda: person.tell(RESTORE))
    return [fitting.zero(_amps(during), vehicle.log.zero_offset_a)]


def _lamps(listener: Listener, person: Person, quiet: Block) -> list[Finding]:
    if not listener.meanwhile(lambda: person.tell(LAMPS)):
        found = "not looked at: nobody was there to switch lamps on"
        return [Finding(name=name, judgement="unknown", found=found) for name in ("sign", "sense leads")]
    listener.hear(2.0)  # what came before they were on
    on = listener.hear(STEP_S)
    listener.meanwhile(lambda: person.tell(OFF))
    return fitting.lamps(quiet, on)


def _notices(destinations: Sequence[Destination], person: Person, world: World) -> list[Finding]:
    if not destinations:
        found = "no destination is set: nobody will be told"
        return [Finding(name="notices", judgement="unknown", found=found)]
    findings = []
    for to in destinations:
        name = f"notices to {to.called}"
        if not person.question(f"Send a test notice to {to.called}?"):
            findings.append(Finding(name=name, judgement="unknown", found="not tried"))
            continue
        outcome = world.send(to.to, "Keyoff: test", "The fitting check sent this. Nothing is wrong.")
        if outcome.fate != "sent":
            mend = f"mend [[notices.destinations]] or the network: {outcome.why}"
            findings.append(Finding(name=name, judgement="mend", found=f"{outcome.fate}: {outcome.why}", mend=mend))
            continue
        arrived = person.question("Has it arrived?")
        judgement, found = _arrival(arrived)
        phone = None if arrived is not False else "check the address, and the phone's settings for notices"
        findings.append(Finding(name=name, judgement=judgement, found=found, mend=phone))
    return findings


def _arrival(arrived: bool | None) -> tuple[fitting.Judgement, str]:
    if arrived is None:
        return "unknown", "sent; whether it arrived is not known"
    return ("ok", "sent and arrived") if arrived else ("mend", "sent, and did not arrive")


def _amps(block: Block) -> Floats:
    return np.empty(0) if block.amps is None else block.amps


def _joined(blocks: list[Block]) -> Block:
    def column(name: str) -> Floats | None:
        parts = [getattr(block, name) for block in blocks]
        if all(part is None for part in parts):
            return None
        return np.concatenate(
            [np.full(len(b), np.nan) if part is None else part for b, part in zip(blocks, parts, strict=True)]
        )

    if not blocks:
        return Block(np.empty(0, np.int64), np.empty(0))
    volts = column("volts")
    assert volts is not None
    return Block(np.concatenate([b.t_us for b in blocks]), volts, column("amps"), column("celsius"))
