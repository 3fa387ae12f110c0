"""Logs for the laws: hand-made lives of a vehicle, and random ones without any sense, which is the point of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from monitor.base.samples import SECOND_US, Block
from monitor.detect.facts import Facts
from monitor.detect.seconds import Binned, Binner

T0 = 1_700_000_000 * SECOND_US + 472_939  # not on a whole second

# volts, amps: asleep, awake, key on, engine at several charging levels, managed, cranks, glow plugs, charger
PALETTE = (
    (12.6, -0.02),
    (12.6, -0.06),
    (12.5, -0.35),
    (12.2, -5.0),
    (12.3, -12.0),
    (14.3, 6.0),
    (14.2, 0.5),
    (13.36, 0.4),
    (12.9, 0.1),
    (12.7, -0.3),
    (12.4, -22.0),
    (9.5, -180.0),
    (11.2, -60.0),
    (11.7, -90.0),
    (14.4, 3.0),
    (13.7, -0.5),
    (15.0, 30.0),
    (12.6, 0.5),
)
STEPS_S = (0.005, 0.1, 0.5, 1, 1, 1, 3, 5, 10, 30, 60, 100)


@dataclass(frozen=True)
class Log:
    """A log and the facts it is read with; `binned`: its seconds, as one piece."""

    name: str
    block: Block
    facts: Facts = field(default_factory=Facts)

    @cached_property
    def binned(self) -> Binned:
        return seconds_of(self.block, self.facts)


def seconds_of(block: Block, facts: Facts | None = None) -> Binned:
    """All seconds of a block, the last one too."""
    binner = Binner((facts or Facts()).gap_s)
    first, then = binner.update(block), binner.flush()
    return join_binned([first, then])


def join_binned(parts: list[Binned]) -> Binned:
    parts = [p for p in parts if len(p.seconds)] or parts[:1]
    seconds = type(parts[0].seconds).join([p.seconds for p in parts])
    return Binned(seconds, join_blocks([p.samples for p in parts]), [g for p in parts for g in p.gaps])


def join_blocks(blocks: list[Block]) -> Block:
    def channel(name: str) -> np.ndarray | None:
        values = [getattr(b, name) for b in blocks]
        if all(v is None for v in values):
            return None
        nothing = [np.full(len(b), np.nan) for b in blocks]
        return np.concatenate([n if v is None else v for n, v in zip(nothing, values, strict=True)])

    volts = np.concatenate([b.volts for b in blocks])
    return Block(np.concatenate([b.t_us for b in blocks]), volts, channel("amps"), channel("celsius"))


class Life:
    """Writes a log down as it goes: `spend` seconds at a level, `pause` without samples."""

    def __init__(self, hz: float = 1.0, seed: int = 1, t_us: int = T0, noise: float = 1.0) -> None:
        self.step_us = round(SECOND_US / hz)
        self.random = np.random.default_rng(seed)
        self.t_us, self.noise = t_us, noise
        self.rows: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []

    def spend(self, seconds: float, volts: float, amps: float, to_volts: float | None = None) -> Life:
        """So many seconds at a level; the volts may slide to another one."""
        n = max(round(seconds * SECOND_US / self.step_us), 1)
        t = self.t_us + self.step_us * np.arange(n)
        self.t_us += n * self.step_us
        v = np.linspace(volts, volts if to_volts is None else to_volts, n)
        v += self.noise * 0.002 * self.random.standard_normal(n)
        a = amps + self.noise * (0.0005 + 0.004 * abs(amps)) * self.random.standard_normal(n)
        self.rows.append((t, v, a))
        return self

    def pause(self, seconds: float) -> Life:
        """No samples for so long."""
        self.t_us += round(seconds * SECOND_US)
        return self

    def shutdown(self, asleep_a: float = 0.02) -> Life:
        """Key off: the staircase down to sleep, the volts falling from surface charge."""
        self.spend(20, 12.9, -6.0).spend(60, 12.85, -2.5).spend(120, 12.8, -0.8)
        return self.spend(200, 12.75, -0.2).spend(600, 12.7, -asleep_a, to_volts=12.62)

    def crank(self) -> Life:
        """Key on, inrush, the starter turning, the engine caught."""
        return self.spend(8, 12.3, -6.0).spend(0.1, 7.5, -420.0).spend(0.9, 10.2, -150.0).spend(3, 13.6, -2.0)

    def restart(self) -> Life:
        """The short warm crank behind a stop-start stop."""
        return self.spend(0.6, 10.8, -120.0).spend(2, 13.8, 3.0)

    def done(self, name: str, facts: Facts | None = None, amps: bool = True) -> Log:
        t, v, a = (np.concatenate(x) for x in zip(*self.rows, strict=True))
        return Log(name, Block(t, v, a if amps else None), facts or Facts())


def busy_life(hz: float, seed: int = 1) -> Life:
    """A stand with wake-ups, a crank, a drive with a stop, managed stretches and an overrun, a stand with a charger."""
    life = Life(hz, seed).spend(400, 12.6, -0.02).spend(9, 12.58, -0.9).spend(300, 12.6, -0.02).spend(1, 12.59, -0.4)
    life.spend(200, 12.6, -0.02).spend(15, 12.4, -3.0).crank().spend(90, 14.3, 18.0).spend(60, 14.2, 4.0)
    life.spend(40, 12.25, -14.0).restart().spend(120, 12.9, -0.4).spend(20, 15.0, 35.0).spend(100, 12.8, 0.3)
    life.spend(60, 14.1, 6.0).shutdown().spend(4, 12.6, -0.8).spend(300, 12.62, -0.02)
    life.spend(400, 12.62, -0.09).spend(5, 12.6, -0.6).spend(200, 12.62, -0.09)
    life.pause(700).spend(100, 12.62, -0.09).spend(60, 13.2, 5.0, to_volts=14.2).spend(200, 14.4, 4.0)
    return life.spend(300, 12.9, -0.09, to_volts=12.75).crank().spend(30, 14.2, 9.0)


def busy(hz: float) -> Log:
    return busy_life(hz).done(f"busy at {hz:g} Hz")


def at_the_crank(hz: float) -> Log:
    """A few seconds about a crank that fails and one that starts, with the compression ripple on them."""
    life = Life(hz).spend(6, 12.6, -0.02).spend(0.05, 7.0, -420.0).spend(0.8, 10.0, -150.0).spend(5, 12.4, -5.0)
    log = life.spend(0.05, 7.0, -420.0).spend(0.8, 10.0, -150.0).spend(12, 14.2, 12.0).done(f"cranks at {hz:g} Hz")
    b = log.block
    ripple = np.where(b.amps < -100, 30.0 * np.sin(2 * np.pi * 7.0 * (b.t_us - T0) / SECOND_US), 0.0)
    return Log(log.name, Block(b.t_us, b.volts, b.amps + ripple))


def with_holes(log: Log, seed: int = 3) -> Log:
    """Single readings missing in each channel, and a temperature now and then."""
    random = np.random.default_rng(seed)
    b, n = log.block, len(log.block)
    volts = np.where(random.random(n) < 0.1, np.nan, b.volts)
    amps = np.where(random.random(n) < 0.1, np.nan, b.amps)
    celsius = np.where(random.random(n) < 0.2, 15.0, np.nan)
    return Log(f"{log.name}, with holes", Block(b.t_us, volts, amps, celsius), log.facts)


def interleaved(log: Log) -> Log:
    """Volts and amps in turns, as loggers of several channels write them."""
    b = log.block
    turn = np.arange(len(b)) % 2 == 0
    block = Block(b.t_us, np.where(turn, b.volts, np.nan), np.where(turn, np.nan, b.amps))
    return Log(f"{log.name}, interleaved", block, log.facts)


def without_amps(log: Log) -> Log:
    return Log(f"{log.name}, volts alone", Block(log.block.t_us, log.block.volts), log.facts)


def random_log(seed: int) -> Log:
    """Levels of the palette in no order, at changing rates, with gaps, missing readings or a missing channel."""
    random = np.random.default_rng(seed)
    step, t = random.choice(STEPS_S), T0 + int(random.integers(0, SECOND_US))
    noise = random.choice([0.0, 1.0])
    times, volts, amps = [], [], []
    for _ in range(random.integers(1, 14)):
        v, a = PALETTE[random.integers(len(PALETTE))]
        if random.random() < 0.15:
            step = random.choice(STEPS_S)
        if random.random() < 0.1:
            t += int(random.uniform(1, 100) * max(step, 1) * SECOND_US)
        for _ in range(int(np.ceil(np.exp(random.uniform(0, np.log(60)))))):
            times.append(t)
            t += int(step * SECOND_US * (1 if random.random() < 0.9 else random.uniform(0.5, 1.5)))
            volts.append(v + noise * random.normal(0, 0.01))
            amps.append(a + noise * random.normal(0, 0.003 * (1 + abs(a))))
    block = Block(np.array(times, np.int64), np.array(volts), np.array(amps))
    log = Log(f"random {seed}", block)
    kind = random.random()
    if kind < 0.15:
        return interleaved(log)
    if kind < 0.3:
        return with_holes(log, seed)
    return without_amps(log) if kind < 0.45 else log
