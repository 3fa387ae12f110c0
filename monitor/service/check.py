"""The fitting check: listens to the logger, asks for what only a person can do, and has all that was heard judged.

Two minutes before walking away, so that a night is not lost to a wrong sign or a full disk. The journal is not touched.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from monitor.assess import fitting, fitting_lamps, fitting_levels
from monitor.assess.fitting import Finding
from monitor.base.samples import SECOND_US, Block, Floats
from monitor.base.tables.notices import Destination
from monitor.base.vehicle import Vehicle
from monitor.service.destinations import Outcome
from monitor.service.listener import Listener
from monitor.sources.live.arrival import LiveLogger

# Shares of the time that is given: 30 s for the first reading of slow loggers and of instruments still switched on,
# 60 s for the vehicle as it stands, 15 s for each thing that a person does, of 120 s. Our choice.
FIRST, QUIET, STEP = 1 / 4, 1 / 2, 1 / 8
SLOW = ("opening", "silent")  # as a slow logger looks too
SILENT = 0.6  # of the time for the first reading: then a logger that says nothing is told why; our choice
CERTAIN_S, CERTAIN_COUNT = 20.0, 100  # so long and so many readings tell rate and noise (to 10 %); our choice
HANDS_S = 2.0  # what comes while the hand is still at it; our choice
LAST_S = 5.0  # at the end, whether it still speaks
ZERO_COUNT, ZERO_LEAST = 30, 7  # readings that tell a zero, and the fewest that do; our choice

LAMPS = (
    "Switch the headlamps on and leave them on (with a shunt or meter rated below 20 A: the parking lamps only). "
    "Do not start the engine."
)
OFF = "Switch the lamps off again."
ZERO = (
    "Can the logger be made to see no current for a moment (clamp off the cable, or shunt bypassed; open no cable)? "
    "If so, do it now."
)
RESTORE = "That is enough. Put it back as it was."
NO_HANDS, NO_AMPS = "not looked at, nobody switched lamps on", "the logger gives no amps"


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

    unset    why the clock cannot be trusted, if so
    watched  whether keyoff watch runs for this vehicle
    send     a notice to a destination, by the place of its address
    """

    wall_us: Callable[[], int]
    unset: Callable[[], str | None]
    free_bytes: Callable[[], int | None]
    watched: Callable[[], bool]
    send: Callable[[str, str, str], Outcome]
    monotonic: Callable[[], float] = time.monotonic


def hurried(vehicle: Vehicle, seconds: float) -> Vehicle:
    """The vehicle, with a logger called silent before the check has given it up; for opening the logger."""
    if vehicle.source is None:
        return vehicle
    source = vehicle.source.model_copy(update={"silence_s": min(vehicle.source.silence_s, SILENT * FIRST * seconds)})
    return vehicle.model_copy(update={"source": source})


def check(vehicle: Vehicle, logger: LiveLogger, person: Person, world: World, seconds: float = 120.0) -> list[Finding]:
    """Findings in the order in which a person can mend them."""
    listener = Listener(logger, vehicle.battery.nominal_v, world.wall_us, world.monotonic)
    person.note(f"Listening to {logger.name}, for up to {FIRST * seconds:.0f} s until it speaks.")
    began = world.monotonic()
    heard = bool(len(listener.hear(FIRST * seconds, lambda block: len(block) > 0)))
    usual_s: float | None = None
    findings = [_link(listener, heard, world.watched(), world.monotonic() - began)]
    if heard:
        person.note(f"It speaks. Measuring for up to {QUIET * seconds:.0f} s: ignition off, leave everything as it is.")
        began = world.monotonic()
        quiet = listener.hear(QUIET * seconds, certain)
        took_s = world.monotonic() - began
        usual_s = float(np.median(np.diff(quiet.t_us))) / SECOND_US if len(quiet) > 2 else None
        by_hand = _zero(vehicle, listener, person, quiet, STEP * seconds, usual_s or 0.0)
        by_hand += _lamps(vehicle, listener, person, STEP * seconds, usual_s or 0.0)
        last = listener.hear(max(LAST_S, 3 * (usual_s or 0.0)), lambda block: len(block) > 0)
        if not len(last):
            findings = [_fell_silent(listener)]
        findings += [*_readings(listener, quiet, took_s), *_levels(vehicle, listener, quiet, by_hand), *by_hand]
    findings.append(fitting.clock(world.unset(), listener.stamped, listener.ahead_s, heard))
    findings.append(fitting.disk(world.free_bytes(), vehicle.store.spare_bytes, usual_s))
    return findings + _notices(vehicle, person, world)


def certain(block: Block) -> bool:
    """Whether these samples tell rate and noise, however much longer one listens."""
    return len(block) >= CERTAIN_COUNT and int(block.t_us[-1] - block.t_us[0]) >= CERTAIN_S * SECOND_US


def _link(listener: Listener, heard: bool, watched: bool, waited_s: float) -> Finding:
    if heard:
        return fitting.ok(
            "logger", f"{listener.name} speaks" + f", it is {listener.identity}" * bool(listener.identity)
        )
    books = listener.feed.ledger
    state = "" if listener.state in ("opening", "speaking") else f"{listener.state.replace('_', ' ')}, "
    found = f"{listener.name}: {state}no reading within {waited_s:.0f} s"
    if books.refused:
        found += f"; refused: {fitting.examples(books.refused, books.first)}"
    if watched:
        mend = (
            "keyoff watch runs for this vehicle and has the logger: look with keyoff status, or stop it for the check"
        )
        return fitting.to_mend("logger", found, mend)
    mend = listener.feed.advice or listener.why or "see that it is on and logs, its cable, and [source] url"
    slow = "; one that speaks less often is checked with --seconds 600" if listener.state in SLOW else ""
    return fitting.to_mend("logger", found, mend + slow)


def _fell_silent(listener: Listener) -> Finding:
    found = f"{listener.name} spoke at first and then fell silent: {listener.state.replace('_', ' ')}"
    return fitting.to_mend(
        "logger", found, listener.why or "look for a loose plug, or a logger that switches itself off"
    )


def _readings(listener: Listener, quiet: Block, took_s: float) -> list[Finding]:
    """How it reads; resolution from all that was heard, since a battery at rest does not move by a step."""
    books, everything = listener.feed.ledger, listener.everything()
    amps = fitting.fine_amps(everything)
    return [
        fitting.columns(listener.channels, listener.head, listener.why if listener.state == "speaking" else ""),
        fitting.rate(quiet.t_us, took_s),
        fitting.lines(books.samples, books.refused, books.first),
        fitting.fine_volts(everything),
        *([] if amps is None else [amps]),
    ]


def _levels(vehicle: Vehicle, listener: Listener, quiet: Block, by_hand: Sequence[Finding]) -> list[Finding]:
    """What it reads."""
    battery = vehicle.battery
    findings = [fitting_levels.volts(quiet.volts, battery, listener.feed.advice)]
    told = any(one.judgement == "mend" for one in by_hand)  # a zero or sign that is wrong is said once
    if quiet.amps is not None and not told:
        findings.append(fitting_levels.current(quiet.amps, quiet.volts, battery, vehicle.log.zero_offset_a))
    if quiet.celsius is not None:
        findings.append(fitting_levels.temperature(quiet.celsius))
    return findings


def _zero(
    vehicle: Vehicle, listener: Listener, person: Person, quiet: Block, seconds: float, usual_s: float
) -> list[Finding]:
    if quiet.amps is None:
        return []
    seconds, settle_s = max(seconds, ZERO_LEAST * usual_s), max(HANDS_S, usual_s)
    allowed_a = vehicle.log.zero_offset_a
    if not listener.meanwhile(lambda: person.question(ZERO)):
        return [fitting.no_zero(allowed_a)]
    listener.hear(settle_s)
    during = listener.hear(seconds, lambda block: len(block) >= ZERO_COUNT)
    listener.meanwhile(lambda: person.tell(RESTORE))
    return [fitting.zero(_amps(during), allowed_a)]


def _lamps(vehicle: Vehicle, listener: Listener, person: Person, seconds: float, usual_s: float) -> list[Finding]:
    seconds, settle_s = max(seconds, (fitting_lamps.ROWS + 1) * usual_s), max(HANDS_S, 3 * usual_s)
    if "amps" not in listener.channels:
        return [fitting.unknown("sign", NO_AMPS), fitting_lamps.no_drop(NO_AMPS)]
    listener.begin()
    if not listener.meanwhile(lambda: person.tell(LAMPS)):
        return [fitting.unknown("sign", NO_HANDS), fitting_lamps.no_drop(NO_HANDS)]
    listener.hear(settle_s)  # a door's lamp is a step too: the largest tells
    listener.hear(seconds - settle_s, lambda _: fitting_lamps.step(listener.since()) is not None)
    seen = fitting_lamps.step(listener.since())
    listener.meanwhile(lambda: person.tell(OFF))
    return fitting_lamps.lamps(seen, vehicle.battery, seconds)


def _notices(vehicle: Vehicle, person: Person, world: World) -> list[Finding]:
    if not vehicle.notices.destinations:
        return [fitting.unknown("notices", "no [[notices.destinations]]: nobody will be told")]
    return [_notice(vehicle.name, to, person, world) for to in vehicle.notices.destinations]


def _notice(vehicle: str, to: Destination, person: Person, world: World) -> Finding:
    name = f"notices to {to.called}"
    if not person.question(f"Send a test notice to {to.called}?"):
        return fitting.unknown(name, "not tried")
    text = f"The fitting check of {vehicle} sent this. If you can read it, notices reach you. Nothing to do."
    outcome = world.send(to.to, f"[test] {vehicle}"[:79], text)
    if outcome.fate != "sent":
        return fitting.to_mend(
            name, f"not confirmed: {outcome.why}", "see to that, then try again: keyoff tell VEHICLE"
        )
    arrived = person.question("Has it arrived?")
    if arrived is None:
        return fitting.unknown(name, "sent; whether it arrived is not known")
    if arrived:
        return fitting.ok(name, "sent and arrived")
    mend = "see to the address, and to what the phone lets through (battery saving, quiet hours)"
    return fitting.to_mend(name, "sent, and did not arrive", mend)


def _amps(block: Block) -> Floats:
    return np.empty(0) if block.amps is None else block.amps
