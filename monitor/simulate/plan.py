"""The plan: everything about a scenario that does not depend on the battery, laid out in time.

A plan holds the loads, the starter's draw, the supplies (alternator, charger) and, beside them, what is true about
each stand and drive. Random streams are named, so that adding a wake-up leaves the drives as they were.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field

import numpy as np

from monitor.base.samples import Floats, Ints
from monitor.simulate.pieces import Piece


@dataclass(frozen=True, slots=True)
class Supply:
    """A source that feeds vehicle and battery.

    volts       what it holds at its sense point
    max_a       the most it gives, to loads and battery together
    cable_ohm   between that point and the battery, so that loads pull the battery's volts down
    economy     the engine computer leaves the battery's current near `bias_a`; load changes fall on the battery, and
                volts are held only at the bounds `floor_v` and `ceiling_v`; below `charge_below` SoC it holds `volts`
    ripple_v    peak to peak at the posts
    """

    volts: Piece
    max_a: float
    cable_ohm: float = 0.0
    economy: bool = False
    bias_a: float = 0.0
    floor_v: float = 0.0
    ceiling_v: float = 99.0
    charge_below: float = 0.0
    ripple_v: float = 0.0


@dataclass(frozen=True, slots=True)
class PulseTrain:
    """Short pulses from `start` to `end`, µs; drained amps. Their mean is part of the sleep level.

    One pulse a period, at its beginning; with `dither` at a moment of its own in each, as receivers poll.
    """

    start: int
    end: int
    amps: float
    width_us: int
    period_us: int
    dither: int | None = None

    @property
    def mean_a(self) -> float:
        """Mean drain."""
        return self.amps * self.width_us / self.period_us

    def since_pulse(self, t_us: Ints) -> tuple[Ints, Ints]:
        """(periods begun and ended, µs since the beginning of this period's pulse, negative before it)."""
        period, phase = np.divmod(t_us - self.start, self.period_us)
        if self.dither is not None:
            phase = phase - (_mixed(period + self.dither) * (self.period_us - self.width_us)).astype(np.int64)
        return period, phase


def _mixed(numbers: Ints) -> Floats:
    """A number in [0, 1) for each whole number, as random as need be (splitmix64)."""
    x = numbers.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray((x ^ (x >> np.uint64(31))) / 2.0**64)


@dataclass(frozen=True, slots=True)
class PlannedCrank:
    """The starter engages at `start` and lets go at `end`; it turns steadily from `steady` to `firing`."""

    start: int
    steady: int
    firing: int
    end: int
    rpm: float


@dataclass(slots=True)
class PlannedWake:
    """One excursion above the sleep level: its pieces, and the number of its cause (1…)."""

    pieces: list[Piece]
    group: int


@dataclass(slots=True)
class PlannedStand:
    """What is true about a stand; `approach` is the instant from which someone is about to drive."""

    start: int
    end: int
    open: bool
    settled: int | None = None
    approach: int | None = None
    observed_shutdown: bool = True
    wakes: list[PlannedWake] = field(default_factory=list)
    failed: list[PlannedCrank] = field(default_factory=list)
    charges: list[tuple[int, int]] = field(default_factory=list)

    @property
    def asleep_until(self) -> int:
        """End of the part in which the vehicle may sleep."""
        return self.end if self.approach is None else self.approach


@dataclass(slots=True)
class PlannedDrive:
    """What is true about a drive."""

    start: int
    end: int
    open: bool
    crank: PlannedCrank
    charging_from: int | None
    regulation: str
    faults: list[str]
    ripple_v: float
    stops: list[tuple[int, int]] = field(default_factory=list)
    phases: list[tuple[str, int, int]] = field(default_factory=list)


@dataclass(slots=True)
class Plan:
    """The whole scenario in time, µs UTC from `start` to `end`."""

    start: int
    end: int
    loads: list[Piece] = field(default_factory=list)
    starter: list[Piece] = field(default_factory=list)
    supplies: list[Supply] = field(default_factory=list)
    pulses: list[PulseTrain] = field(default_factory=list)
    level_drains: list[Piece] = field(default_factory=list)  # of the loads: those that shift the sleep level
    stands: list[PlannedStand] = field(default_factory=list)
    drives: list[PlannedDrive] = field(default_factory=list)


def stream(seed: int, *name: str | int) -> np.random.Generator:
    """The random stream of this seed and name.

    >>> bool(stream(1, "wake", 2).random() == stream(1, "wake", 2).random())
    True
    """
    words = [seed & 0xFFFFFFFF, seed >> 32]
    words += [part if isinstance(part, int) else zlib.crc32(part.encode()) for part in name]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(words)))
