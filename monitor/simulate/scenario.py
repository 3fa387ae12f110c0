"""A scenario: the vehicle, how it is used, what is wrong with it and what logs it; the TOML file, validated strictly.

Currents are drains, positive out of the battery, except where a field says otherwise. `after` and `until` count from
the start of the scenario; `at` is a time of day in the scenario's own zone (the offset of `start`).
"""

from __future__ import annotations

from datetime import time
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, model_validator

from monitor.base.quantities import QuantityAmpHours, QuantityAmps, QuantitySeconds, QuantityVolts
from monitor.base.tables.strict import Strict
from monitor.base.vehicle import BatteryKind
from monitor.simulate.units import Celsius, Fraction, Hertz, Ohms, Share

Amps = Annotated[QuantityAmps, Field(ge=0)]
Span = Annotated[QuantitySeconds, Field(ge=0)]
Shape = Literal["rectangular", "two_step", "decaying", "ramped"]
AlternatorFault = Literal["none", "no_charge", "undervoltage", "overvoltage", "unstable", "ripple", "late"]
DrainKind = Literal["constant", "intermittent", "rising", "temperature", "stuck"]


class Ambient(Strict):
    """Air temperature: a day cycle, warmest at 15 h."""

    mean: Celsius = 12.0
    swing: Celsius = 8.0  # lowest to highest


class ShortedCell(Strict):
    """One cell shorts: −2.1 V (one cell's voltage) within `over` from `after` on."""

    after: Span
    over: Span = 1800.0


class BatterySpec(Strict):
    """The battery. `health` scales capacity down and resistance up: 1 new, 0.5 worn out."""

    kind: BatteryKind = "flooded"
    nominal: QuantityVolts = 12.0
    capacity: Annotated[QuantityAmpHours, Field(gt=0)] = 70.0
    state_of_charge: Fraction = 0.85
    health: Annotated[Fraction, Field(gt=0.2)] = 1.0
    resistance: Ohms | None = None  # DC at 25 °C, new and full; None: from kind and capacity
    self_discharge: Share = 0.04  # of the capacity a month at 20 °C
    rested: Span = 86400.0  # how long before the scenario the last charge ended
    shorted_cell: ShortedCell | None = None


class Stage(Strict):
    """One stage of the staged shutdown: this much above the sleep level, for so long."""

    amps: Amps
    duration: Span


class Pulses(Strict):
    """Short regular pulses that belong to the sleep level: a lamp's flash, a receiver's polling."""

    amps: Amps
    width: Annotated[QuantitySeconds, Field(gt=0)]
    period: Annotated[QuantitySeconds, Field(gt=0)]

    @model_validator(mode="after")
    def _fits(self) -> Pulses:
        if self.width >= self.period:
            raise ValueError("width must be shorter than period")
        return self


class VehicleSpec(Strict):
    """The vehicle's own currents."""

    cylinders: Annotated[int, Field(ge=1, le=12)] = 4
    fuel: Literal["petrol", "diesel"] = "petrol"
    starter: Annotated[Amps, Field(gt=0)] = 140.0  # plateau while cranking at 20 °C
    inrush: Annotated[float, Field(ge=1.2, le=6)] = 3.0  # peak over plateau
    inrush_decay: Annotated[QuantitySeconds, Field(gt=0)] = 0.035
    crank_duration: Annotated[QuantitySeconds, Field(gt=0.1)] = 0.8
    crank_speed_rpm: Annotated[float, Field(ge=30, le=500)] = 210.0
    key_on: Amps = 5.0
    approach: Span = 45.0  # unlocking until key-on: modules awake
    approach_amps: Amps = 2.5
    running: Amps = 14.0  # base load of the running engine
    comfort: Amps = 12.0  # blower, lamps, rear screen: most of what comes and goes in a drive
    shutdown: tuple[Stage, ...] = (
        Stage(amps=6.5, duration=12.0),
        Stage(amps=2.8, duration=50.0),
        Stage(amps=0.7, duration=240.0),
        Stage(amps=0.18, duration=600.0),
    )
    shutdown_jitter: Fraction = 0.1
    follow_me_home: Stage | None = None
    sleep: Amps = 0.018
    sleep_per_kelvin: Share = 0.0  # change of the sleep level per °C above 15 °C
    lamp_flash: Pulses | None = None
    polling: Pulses | None = None
    connection: Ohms = 0.0  # bad joint between the battery post and the point where volts are sensed


class AlternatorSpec(Strict):
    """The charging system; volts for a 12 V system at 25 °C, scaled with the nominal voltage."""

    regulation: Literal["fixed", "compensated", "managed"] = "fixed"
    volts: QuantityVolts = 14.3
    per_kelvin: QuantityVolts = -0.010
    max: Annotated[Amps, Field(gt=0)] = 90.0
    overrun_volts: QuantityVolts = 15.0
    cable: Ohms = 0.004  # between regulator and battery: charge volts sag with load
    delay: Span = 1.5
    ripple: QuantityVolts = 0.03  # peak to peak, healthy
    fault: AlternatorFault = "none"
    fault_after: Span = 0.0
    fault_until: Span | None = None


class Trip(Strict):
    """A drive that recurs: at this time of day, on these days (0 = the first day; None: every day)."""

    at: time
    days: tuple[int, ...] | None = None
    duration: Annotated[QuantitySeconds, Field(gt=5)]
    jitter: Span = 0.0
    stops: Annotated[int, Field(ge=0)] = 0  # stop-start stops
    failed_starts: Annotated[int, Field(ge=0)] = 0
    approach: Span | None = None


class WakeUpSpec(Strict):
    """Excursions above the sleep level: every `every` with jitter, or at random that often on average, or `at`."""

    name: str = "wake-up"
    amps: Annotated[Amps, Field(gt=0)]
    duration: Annotated[QuantitySeconds, Field(gt=0)]
    shape: Shape = "rectangular"
    every: Annotated[QuantitySeconds, Field(gt=0)] | None = None
    at: tuple[Span, ...] = ()
    random: bool = False
    jitter: Fraction = 0.02
    after: Span = 0.0
    until: Span | None = None

    @model_validator(mode="after")
    def _when(self) -> WakeUpSpec:
        if (self.every is None) == (not self.at):
            raise ValueError("give either every or at")
        return self


class DrainSpec(Strict):
    """A faulty consumer. `stuck` begins at `after`, from then on; `rising` reaches `amps` at `until`."""

    kind: DrainKind = "constant"
    amps: Annotated[Amps, Field(gt=0)]
    after: Span = 0.0
    until: Span | None = None
    on: Span = 900.0  # intermittent: mean time on
    off: Span = 7200.0  # intermittent: mean time off
    per_kelvin: Share = 0.05  # temperature: change of the drain per °C above 15 °C

    @model_validator(mode="after")
    def _order(self) -> DrainSpec:
        if self.until is not None and self.until <= self.after:
            raise ValueError("until must be later than after")
        return self


class KeepsAwake(Strict):
    """A module that stops sleeping: from `after` on each shutdown ends `amps` above the sleep level."""

    amps: Annotated[Amps, Field(gt=0)]
    after: Span = 0.0
    until: Span | None = None


class Visit(Strict):
    """A door, lock or boot while parked: a normal wake-up with its own small staged shutdown."""

    at: Span
    amps: Amps = 4.0
    duration: Annotated[QuantitySeconds, Field(gt=0)] = 150.0


class ChargerSpec(Strict):
    """A battery charger or jump pack on the battery while parked."""

    after: Span
    duration: Annotated[QuantitySeconds, Field(gt=0)]
    volts: QuantityVolts = 14.4
    max: Annotated[Amps, Field(gt=0)] = 8.0


class FastRate(Strict):
    """An adaptive logger's fast rate, while the current is above `above` or has stepped, and `hold` after."""

    rate: Hertz = 10.0
    above: Amps = 1.0
    step: Amps = 0.05
    hold: Span = 5.0


class LoggerSpec(Strict):
    """What logs: rate, converter, errors and mishaps."""

    rate: Hertz = 10.0
    fast: FastRate | None = None
    averaging: bool = True
    volts_resolution: QuantityVolts = 0.001
    amps_resolution: Amps = 0.001
    volts_noise: QuantityVolts = 0.0005
    amps_noise: Amps = 0.001
    zero_offset: QuantityAmps = 0.0  # added to the reading
    zero_drift: QuantityAmps = 0.0  # per °C from 15 °C, added to the reading
    channels: tuple[Literal["volts", "amps", "celsius"], ...] = ("volts", "amps", "celsius")
    gaps: tuple[Gap, ...] = ()
    duplicates: Fraction = 0.0  # share of rows written twice (in files only)
    clock_steps: tuple[ClockChange, ...] = ()


class Gap(Strict):
    """The logger is off."""

    after: Span
    duration: Span


class ClockChange(Strict):
    """The logger's clock is set: `by` may be negative."""

    after: Span
    by: QuantitySeconds


class Scenario(Strict):
    """One vehicle over some days."""

    name: str = "unnamed"
    start: AwareDatetime
    days: Annotated[float, Field(gt=0, le=400)] = 1.0
    seed: int = 1
    ambient: Ambient = Ambient()
    battery: BatterySpec = BatterySpec()
    vehicle: VehicleSpec = VehicleSpec()
    alternator: AlternatorSpec = AlternatorSpec()
    trips: tuple[Trip, ...] = ()
    wake_ups: tuple[WakeUpSpec, ...] = ()
    drains: tuple[DrainSpec, ...] = ()
    keeps_awake: tuple[KeepsAwake, ...] = ()
    visits: tuple[Visit, ...] = ()
    chargers: tuple[ChargerSpec, ...] = ()
    logger: LoggerSpec = LoggerSpec()


LoggerSpec.model_rebuild()
Scenario.model_rebuild()
