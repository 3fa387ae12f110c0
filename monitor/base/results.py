"""The result document: one JSON object per vehicle; the command line, page and report are built from these models.

Times are integer microseconds UTC inside and ISO 8601 UTC in JSON. Absent knowledge is None (null), never 0. Drain
figures (sleep current, peak, excess, charge out) are positive; fields named volts and amps keep the battery's sign.
Numbers are rounded on output far below any logger's resolution, so that the text is readable and stable.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field
from pydantic.json_schema import SkipJsonSchema

from monitor.base.alarms import Alarm
from monitor.base.fields import AmpHours, Amps, Moment, Number, Part, Span, Volts


class ClockStep(Part):
    """A step of the logger's clock: the time after it, and its size (negative: set back)."""

    at: Moment
    seconds: Number


class Rate(Part):
    """Samples a second: the median over the log and the most seen in one second."""

    median: Number | None = None
    max: Number | None = None


class RefusedRow(Part):
    """One refused row of input, word for word."""

    file: str
    line: int
    text: str


class Notice(Part):
    """Something about the log itself that a person must know: what, and the setting that mends it."""

    kind: str
    text: str
    setting: str | None = None


class Log(Part):
    """What was read, and what was refused and why."""

    first: Moment | None = None
    last: Moment | None = None
    samples: int = 0
    refused: dict[str, int] = Field(default_factory=dict)
    refused_first: dict[str, list[RefusedRow]] = Field(default_factory=dict)
    duplicates: int = 0
    reordered: int = 0
    clock_steps: list[ClockStep] = Field(default_factory=list)
    gaps: list[Span] = Field(default_factory=list)
    unobserved_s: Number = 0.0
    channels: list[Literal["volts", "amps", "celsius"]] = Field(default_factory=list)
    rate_hz: Rate = Field(default_factory=Rate)
    notices: list[Notice] = Field(default_factory=list)


BOUND_HZ = 3.0  # from here on samples bound a crank well enough
DIP_HZ, INRUSH_HZ = 0.9, 5.0  # slower loggers do not see a crank's dip, from 5 Hz on they see that of the inrush


class Crank(Part):
    """The starter turning; amps keep the battery's sign. `resistance_mohm`: ΔV/ΔI, null where the rate carries none.

    `celsius`: what the temperature channel read before it. `turned_s`: its length as the charge shows it, from loggers
    too slow to bound it by samples: right in the mean of several, of one crank up to a second off, null where it may be
    an engine's loads.
    """

    start: Moment
    duration_s: Number | None = None
    turned_s: Number | None = None
    volts_before: Volts | None = None
    volts_min: Volts | None = None
    amps_peak: Amps | None = None
    amps_plateau: Amps | None = None
    resistance_mohm: Number | None = None
    ripple_hz: Number | None = None
    engine_rpm: Number | None = None
    sampled_hz: Number | None = None
    celsius: Number | None = None

    @property
    def volts_load(self) -> float | None:
        """Volts under the starter's steady load, as load-test tables mean them; None where the log does not show them.

        The inrush of some 50 ms is no load test: where the logger is fast enough to see it, its dip is not taken.
        """
        if self.resistance_mohm is not None and self.amps_plateau is not None and self.volts_before is not None:
            return self.volts_before - self.resistance_mohm / 1000.0 * abs(self.amps_plateau)
        return self.volts_min if self.sampled_hz is not None and DIP_HZ <= self.sampled_hz < INRUSH_HZ else None


class Plateau(Part):
    """A stretch of a stand in which the current has settled; amps keep the battery's sign (drain is negative)."""

    start: Moment
    end: Moment
    amps: Amps
    volts: Volts | None = None


class LevelStep(Part):
    """A lasting change of the plateau; drain levels, positive."""

    at: Moment
    from_a: Amps
    to_a: Amps


class WakeUp(Part):
    """An excursion above the sleep plateau that ends; drain figures, positive."""

    start: Moment
    end: Moment
    peak_a: Amps
    excess_a: Amps
    charge_ah: AmpHours
    group: int | None = None


class LoadStep(Part):
    """A load switched on or off while standing: the change of current (negative: on) and ΔV/ΔI over some 2 s."""

    at: Moment
    change_a: Amps
    resistance_mohm: Number
    volts_before: Volts
    celsius: Number | None = None


class Rest(Part):
    """Rest voltage of a stand; `decay_mv_per_h`: positive when falling, relaxation left out; `basis`: why, in words."""

    volts: Volts | None = None
    settled: bool | None = None
    ocv_volts: Volts | None = None
    ocv_low: Volts | None = None
    ocv_high: Volts | None = None
    decay_mv_per_h: Number | None = None
    state_of_charge: Number | None = None
    state_of_charge_low: Number | None = None
    state_of_charge_high: Number | None = None
    basis: str | None = None


class Stand(Part):
    """From engine stop to the next crank."""

    start: Moment
    end: Moment | None = None
    open: bool = False
    settled_at: Moment | None = None
    time_to_sleep_s: Number | None = None
    sleep_current_a: Amps | None = None
    sleep_current_low_a: Amps | None = None
    sleep_current_high_a: Amps | None = None
    plateaus: list[Plateau] = Field(default_factory=list)
    level_steps: list[LevelStep] = Field(default_factory=list)
    wake_ups: list[WakeUp] = Field(default_factory=list)
    wake_ups_uncounted: int = 0
    charges: list[Span] = Field(default_factory=list)
    charge_in_ah: AmpHours | None = None
    charge_out_ah: AmpHours | None = None
    unobserved_s: Number = 0.0
    rest: Rest = Field(default_factory=Rest)
    failed_starts: list[Crank] = Field(default_factory=list)
    load_steps: list[LoadStep] = Field(default_factory=list)


Regulation = Literal["fixed", "compensated", "managed", "none", "unknown"]
ChargingFault = Literal["no_charge", "undervoltage", "overvoltage", "unstable", "ripple", "late"]
ChargePhase = Literal["first_recharge", "regulated", "reduced", "overrun"]


class PhaseSpan(Part):
    """A phase of charging: when, which, and its median volts."""

    phase: ChargePhase
    start: Moment
    end: Moment
    volts: Volts


class Charging(Part):
    """What the charging system did over a drive."""

    delay_s: Number | None = None
    volts_median: Volts | None = None
    volts_p05: Volts | None = None
    volts_p95: Volts | None = None
    regulation: Regulation = "unknown"
    phases: list[PhaseSpan] = Field(default_factory=list)
    tail_amps: Amps | None = None
    ripple_mv: Number | None = None
    faults: list[ChargingFault] = Field(default_factory=list)


class Drive(Part):
    """From a crank to engine stop; a stop-start system's stops lie inside."""

    start: Moment
    end: Moment | None = None
    open: bool = False
    crank: Crank | None = None
    charging: Charging = Field(default_factory=Charging)
    charge_in_ah: AmpHours | None = None
    charge_out_ah: AmpHours | None = None
    unobserved_s: Number = 0.0
    stops: list[Span] = Field(default_factory=list)


class Estimate(Part):
    """A figure with its interval and, in words, what it rests on."""

    value: Number
    low: Number | None = None
    high: Number | None = None
    basis: str


class WakeUpGroup(Part):
    """Wake-ups alike in size, length and rhythm: most likely one module. Drain figures, positive.

    share     of all charge that left the battery in stands, 0 to 1
    pattern   a published normal pattern that it fits, with its source; None: it fits none
    growing   it takes more from night to night; None: too few nights to tell
    """

    group: int
    count: int
    excess_a: Amps
    duration_s: Number
    period_s: Number | None = None
    period_jitter_s: Number | None = None
    charge_ah: AmpHours
    share: Number | None = None
    first: Moment
    last: Moment
    pattern: str | None = None
    growing: bool | None = None


class QuarterHour(Part):
    """Charge in one quarter hour of UTC, in nanocoulomb; a step on the way to `DayBalance`, not part of the document.

    gap_us   length of the gaps that end in it
    counted  whether it holds any current at all
    """

    start: Moment
    in_nc: int
    out_nc: int
    gap_us: int
    counted: bool


class DayBalance(Part):
    """Charge into and out of the battery on one local day (ISO date); None: no current was logged that day."""

    day: str
    in_ah: AmpHours | None = None
    out_ah: AmpHours | None = None
    net_ah: AmpHours | None = None
    unobserved_s: Number = 0.0


class Resistance(Part):
    """Apparent resistance from cranks and load steps; `trend` is its change a day in percent, None where unknown."""

    value: Number
    trend: Number | None = None
    basis: str


class BatteryFindings(Part):
    """What the log says of the battery; None where it cannot.

    state_of_charge  at the end of the log, 0 to 1, with its interval
    holds_charge     False: the rest voltage falls faster than the counted charge explains
    days_to_no_start at the present drain, from the present state of charge
    statements       what is worth telling, each with its numbers
    """

    state_of_charge: Number | None = None
    state_of_charge_low: Number | None = None
    state_of_charge_high: Number | None = None
    capacity_ah: Estimate | None = None
    resistance_mohm: Resistance | None = None
    holds_charge: bool | None = None
    days_to_no_start: Estimate | None = None
    statements: list[str] = Field(default_factory=list)


class Effect(Part):
    """What changed at a mark: drain levels before and after, the change with its 95 % interval, groups that ended."""

    amps_before: Amps | None = None
    amps_after: Amps | None = None
    change_a: Amps | None = None
    low_a: Amps | None = None
    high_a: Amps | None = None
    groups_ended: list[int] = Field(default_factory=list)
    text: str | None = None


class Mark(Part):
    """A moment the user named, and its effect."""

    at: Moment
    kind: str
    text: str
    effect: Effect | None = None


Cause = Literal["drain", "battery", "charging", "usage", "connection", "sound", "undetermined"]


class OtherCause(Part):
    """A further cause, less likely or besides."""

    cause: Cause
    confidence: Number


class Verdict(Part):
    """What is wrong, how sure that is (0 to 1), the evidence for and against, what is missing and what to do next."""

    cause: Cause
    confidence: Number
    also: list[OtherCause] = Field(default_factory=list)
    because: list[str] = Field(default_factory=list)
    against: list[str] = Field(default_factory=list)
    missing: list[str] = Field(default_factory=list)
    next: list[str] = Field(default_factory=list)


class Result(Part):
    """One vehicle's result document. Keys that nothing has assessed are null or empty.

    `quarters` is carried from the engine to the assessment and left out of JSON.
    """

    vehicle: str = "unnamed"
    log: Log = Field(default_factory=Log)
    stands: list[Stand] = Field(default_factory=list)
    drives: list[Drive] = Field(default_factory=list)
    wake_up_groups: list[WakeUpGroup] = Field(default_factory=list)
    balance: list[DayBalance] = Field(default_factory=list)
    quarters: SkipJsonSchema[list[QuarterHour]] = Field(default_factory=list, exclude=True, repr=False)
    battery: BatteryFindings | None = None
    alarms: list[Alarm] = Field(default_factory=list)
    marks: list[Mark] = Field(default_factory=list)
    verdict: Verdict | None = None
