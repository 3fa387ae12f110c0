"""What the verdict looks at: the result document read once, with voltages brought to a 12 V battery."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from monitor.assess.cell import CellStep, cell_step, is_empty
from monitor.assess.ratings import capacity_of
from monitor.assess.resistance import MIDDLE_AH, cold_factor, new_mohm
from monitor.assess.sleeps import Sleep, sleeps_of
from monitor.assess.turning import Turned, slowness, turned
from monitor.base.results import Crank, Result, Stand
from monitor.base.vehicle import Vehicle
from monitor.detect.ocv import SLOPE_V_PER_FULL

CRANKS_FROM_V = 11.9  # an emptier battery's resistance says only that it is empty (BCI: 11.89 V = 0 %)
SHOWN_BY_VOLTS_A = 0.25  # below 250-500 mA in a night a drain cannot be told from relaxation and temperature
SHARP_HZ = 0.9  # slower: one reading over seconds of polarisation (the detector then gives no resistance)
LEAST_FALL_V = 0.15  # our choice: a smaller fall cannot carry a resistance


@dataclass(frozen=True, slots=True)
class Start:
    """One crank; volts for 12 V.

    volts_load   under the starter's steady load
    times_new    apparent resistance over that of a new battery of this kind and size, at the crank's temperature where
                 that is known, else at 9 °C; None: cannot be told
    turned       how long the starter turned, as well as the log tells
    """

    at: int
    volts_before: float | None
    volts_min: float | None
    volts_load: float | None
    duration_s: float | None
    sampled_hz: float
    mohm: float | None
    times_new: float | None
    celsius: float | None = None
    turned: Turned | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """A settled rest: when it ended, its OCV for 12 V, and the state of charge with its interval, 0 to 1."""

    at: int
    ocv_v: float
    charge: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Fall:
    """A rest voltage that keeps falling, and the drain that would make it do so."""

    amps: float
    mv_per_h: float


@dataclass(frozen=True, slots=True)
class Seen:
    """The evidence before it is weighed.

    scale           nominal volts / 12
    capacity_ah     told or assumed; `capacity_told` says which
    sleeps          stands asleep, with current
    starts          cranks that started the engine
    settled         settled rests with a state of charge
    drive_s         observed length of each drive
    cell            the step of a cell that has gone short, if there is one
    days            length of the log
    """

    result: Result
    vehicle: Vehicle
    scale: float
    capacity_ah: float
    capacity_told: bool
    has_amps: bool
    sleeps: list[Sleep]
    starts: list[Start]
    settled: list[Settled]
    drive_s: list[float]
    cell: CellStep | None
    days: float

    @property
    def times_new(self) -> float | None:
        """Median apparent resistance of the cranks over a new battery's."""
        told = [start.times_new for start in self.starts if start.times_new is not None]
        return median(told) if told else None

    @property
    def slow(self) -> float | None:
        """How slowly the starter turns, from -1, quick, to 1; None where no length is told."""
        return slowness([start.turned for start in self.starts if start.turned is not None])

    @property
    def fall(self) -> Fall | None:
        """The fastest fall of a settled rest that a drain of `SHOWN_BY_VOLTS_A` or more would make."""
        if self.vehicle.battery.kind == "lifepo4":
            return None  # its voltage does not show its charge
        found = []
        for stand in self.result.stands:
            rest, decay = stand.rest, stand.rest.decay_mv_per_h
            if decay is not None and rest.settled and not is_empty(rest, self.scale):
                amps = decay / self.scale / 1e3 / SLOPE_V_PER_FULL * self.capacity_ah
                if amps >= SHOWN_BY_VOLTS_A:
                    found.append(Fall(amps, decay))
        return max(found, default=None, key=lambda fall: fall.amps)

    @property
    def sharpness(self) -> float:
        """How far the cranks' resistance may be held against a battery, 0 to 1.

        Half from a logger that saw one reading of a crank, and half where the battery's size is assumed: starter
        batteries of cars have 45 to 100 Ah, so what a new one has is known to a factor of two only.
        """
        rates = [start.sampled_hz for start in self.starts if start.times_new is not None]
        seen_well = 1.0 if rates and median(rates) >= SHARP_HZ else 0.5
        return seen_well if self.capacity_told else seen_well / 2


def look(result: Result, vehicle: Vehicle) -> Seen:
    """Read the document; pure."""
    battery = vehicle.battery
    scale = battery.nominal_v / 12.0
    rated = capacity_of(battery)
    capacity = rated.ah
    last = result.log.last
    new = new_mohm(battery, capacity)
    ends = [drive.end if drive.end is not None else (last or drive.start) for drive in result.drives]
    return Seen(
        result=result,
        vehicle=vehicle,
        scale=scale,
        capacity_ah=capacity,
        capacity_told=rated.is_known,
        has_amps="amps" in result.log.channels,
        sleeps=sleeps_of(result, capacity / MIDDLE_AH, battery.nominal_v),
        starts=[_start(d.crank, scale, new) for d in result.drives if d.crank is not None],
        settled=[s for stand in result.stands if (s := _settled(stand, scale, last)) is not None],
        drive_s=[(end - d.start) / 1e6 - d.unobserved_s for d, end in zip(result.drives, ends, strict=True)],
        cell=cell_step(result, rated, battery.kind, scale),
        days=0.0 if result.log.first is None or last is None else (last - result.log.first) / 86400e6,
    )


def _start(crank: Crank, scale: float, new: float) -> Start:
    before = None if crank.volts_before is None else crank.volts_before / scale
    least = None if crank.volts_min is None else crank.volts_min / scale
    mohm = crank.resistance_mohm
    carries = before is not None and least is not None and before >= CRANKS_FROM_V and before - least >= LEAST_FALL_V
    if mohm is None and carries and crank.amps_peak and before is not None and least is not None:
        mohm = (before - least) * scale / abs(crank.amps_peak) * 1e3  # a slow logger: one reading of both
    if not carries or mohm is None or mohm <= 0:
        mohm = None
    ratio = None if mohm is None else mohm / (new * cold_factor(crank.celsius))
    hz = crank.sampled_hz or 0.0
    load = None if crank.volts_load is None else crank.volts_load / scale
    if load is None and hz >= SHARP_HZ:
        load = least  # volts alone, its inrush included
    return Start(crank.start, before, least, load, crank.duration_s, hz, mohm, ratio, crank.celsius, turned(crank))


def _settled(stand: Stand, scale: float, last: int | None) -> Settled | None:
    rest = stand.rest
    if not rest.settled or rest.ocv_volts is None or rest.state_of_charge is None:
        return None
    low, high = rest.state_of_charge_low, rest.state_of_charge_high
    at = stand.end if stand.end is not None else (last or stand.start)
    charge = rest.state_of_charge
    return Settled(at, rest.ocv_volts / scale, charge, charge if low is None else low, charge if high is None else high)
