"""A virtual logger: the rows of a simulation as delimited lines, each when it falls due, on a wire.

A header line first for each new reader, then `time,volts,amps,celsius`. What falls due while nobody reads is lost.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from monitor.base.errors import SettingError
from monitor.base.samples import Block
from monitor.simulate.files import header, line
from monitor.simulate.run import Simulation
from monitor.simulate.wire import LOOK_S, Wire

WAIT_S = 60.0  # for the first reader
BUNDLE = 200  # at most so many lines in one write, when they fall due faster than that


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of the lines."""

    sent: int
    lost: int


def serve(
    simulation: Simulation,
    wire: Wire,
    speed: float = 1.0,
    wait_s: float = WAIT_S,
    starts_us: int | None = None,
    clock: Callable[[], float] = time.monotonic,
    rest: Callable[[float], None] = time.sleep,
) -> Sent:
    """Speak all of the simulation's rows, `speed` times as fast as the clock, and close the wire.

    Waits up to `wait_s` for the first reader, else raises SettingError. `starts_us` moves the first row to that time.
    """
    try:
        _await_reader(wire, wait_s, clock, rest)
        return _speak(simulation, wire, speed, starts_us, clock, rest)
    finally:
        wire.close()


def _await_reader(wire: Wire, wait_s: float, clock: Callable[[], float], rest: Callable[[float], None]) -> None:
    deadline = clock() + wait_s
    while not wire.listening():
        if clock() > deadline:
            raise SettingError(f"nobody opened {wire.name} within {wait_s:g} s", "start the reader, then this again")
        rest(LOOK_S)


def _speak(
    simulation: Simulation,
    wire: Wire,
    speed: float,
    starts_us: int | None,
    clock: Callable[[], float],
    rest: Callable[[float], None],
) -> Sent:
    head = (",".join(header(simulation)) + "\n").encode()
    first = simulation.plan.start
    shift = 0 if starts_us is None else starts_us - first
    began = clock()
    greeted = sent = lost = 0
    for due_us, lines in _bundles(simulation, shift, speed):
        late = began + (due_us - first) / 1e6 / speed - clock()
        if late > 0:
            rest(late)
        count = lines.count(b"\n")
        if wire.listening():
            if wire.readers != greeted:
                lines, greeted = head + lines, wire.readers
            if wire.send(lines):
                sent += count
                continue
        lost += count
    return Sent(sent, lost)


def _bundles(simulation: Simulation, shift_us: int, speed: float) -> Iterator[tuple[int, bytes]]:
    """(µs of the simulation at which they fall due, lines) of rows due within a moment of each other."""
    moment_us = 1e6 * LOOK_S * speed / 4
    lines: list[str] = []
    opened = 0
    for block in simulation.rows():
        shown = Block(block.t_us + shift_us, block.volts, block.amps, block.celsius)
        for row in range(len(block)):
            at = int(block.t_us[row])
            if lines and (at - opened > moment_us or len(lines) == BUNDLE or at < opened):
                yield opened, ("\n".join(lines) + "\n").encode()
                lines = []
            if not lines:
                opened = at
            lines.append(line(shown, row))
    if lines:
        yield opened, ("\n".join(lines) + "\n").encode()
