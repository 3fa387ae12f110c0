"""Planning what the charging system does over a drive: regulation, the engine computer's modes, faults.

Engine-managed modes after a published 2004+ system: 14.5 V for 30 s after the start, then economy (about 13.0 V or
12.9 V, the battery's current near zero) while charge is above 80 %, else charge (13.4–15.5 V); overrun pulses of
15.0–15.4 V (from memory) on deceleration.
"""

from __future__ import annotations

import numpy as np

from monitor.simulate.climate import air_celsius
from monitor.simulate.pieces import Piece, flat, line, us
from monitor.simulate.plan import Plan, PlannedDrive, Supply
from monitor.simulate.scenario import AlternatorFault, Scenario

SOFT_S = 2.0  # load response: the regulator comes up over this; our choice within 2–8 s
WARM_K = 25.0  # the regulator's housing over the air once warm; our choice
WARM_S = 600.0
START_UP_S = 30.0
SOC_KEPT = 0.80  # below it an engine-managed system charges
UNDER_V, OVER_V = 12.8, 16.1  # faulty regulators, 12 V system; our choice beyond the published limits
FAULT_RIPPLE_V = 0.7  # peak to peak: an open diode shows ≥ 0.5 V (trade articles)
DIODE_LIMIT = 0.5  # an alternator with an open diode gives about half; common practice
FLOOR_V, CEILING_V = 12.5, 13.1  # of the economy mode

Spans = list[tuple[int, int]]


def plan_charging(
    plan: Plan, scenario: Scenario, drive: PlannedDrive, running: Spans, rng: np.random.Generator
) -> None:
    """Add the supplies of one drive and fill in its truth; `running` are the spans with the engine turning."""
    spec = scenario.alternator
    fault = _fault(scenario, (drive.start - plan.start) / 1e6)
    drive.regulation = spec.regulation
    drive.faults = [] if fault == "none" else [fault]
    if fault == "no_charge":
        drive.regulation = "none"
        return
    delay_s = spec.delay * float(rng.uniform(0.7, 1.3))
    if fault == "late":
        delay_s += float(rng.uniform(60.0, 240.0))
    drive.ripple_v = FAULT_RIPPLE_V if fault == "ripple" else spec.ripple
    for index, (a, b) in enumerate(running):
        start = a + us(delay_s if index == 0 else 0.4)
        if start + us(SOFT_S) >= b:
            continue
        if drive.charging_from is None:
            drive.charging_from = start
        if spec.regulation == "managed" and fault in ("none", "ripple", "late"):
            _managed(plan, scenario, drive, start, b, index == 0, rng)
        else:
            _add(plan, scenario, drive, _held(plan, scenario, drive, fault, start, b, rng), fault)
            drive.phases.append(("regulated", start, b))


def _fault(scenario: Scenario, after_s: float) -> AlternatorFault:
    spec = scenario.alternator
    active = after_s >= spec.fault_after and (spec.fault_until is None or after_s < spec.fault_until)
    return spec.fault if active else "none"


def _add(plan: Plan, scenario: Scenario, drive: PlannedDrive, volts: Piece, fault: str) -> None:
    limit = scenario.alternator.max * (DIODE_LIMIT if fault == "ripple" else 1.0)
    plan.supplies.append(Supply(volts, limit, scenario.alternator.cable, ripple_v=drive.ripple_v))


def _held(
    plan: Plan, scenario: Scenario, drive: PlannedDrive, fault: str, start: int, end: int, rng: np.random.Generator
) -> Piece:
    """Regulated volts of a fixed or compensated alternator, or of a faulty regulator."""
    spec, scale = scenario.alternator, scenario.battery.nominal / 12.0
    if fault == "unstable":
        t = [start]
        while t[-1] < end:
            t.append(min(t[-1] + us(float(rng.uniform(1.0, 5.0))), end))
        hunting = np.where(np.arange(len(t)) % 2 == 0, 12.8, 15.3) + rng.uniform(-0.4, 0.4, len(t))
        return Piece(np.array(t, dtype=np.int64), scale * hunting)
    level = {"undervoltage": UNDER_V, "overvoltage": OVER_V}.get(fault, spec.volts)
    knots = np.unique(np.append(np.arange(start + us(SOFT_S), end, us(30.0)), end))
    volts = np.full(len(knots), level)
    if spec.regulation == "compensated" and fault not in ("undervoltage", "overvoltage"):
        warm = WARM_K * (1 - np.exp(-(knots - drive.start) / 1e6 / WARM_S))
        volts += spec.per_kelvin * (air_celsius(scenario, knots) + warm - 25.0)
    t_us = np.concatenate([[start], knots]).astype(np.int64)
    return Piece(t_us, scale * np.concatenate([[min(level, 12.9)], volts]))


def _managed(
    plan: Plan, scenario: Scenario, drive: PlannedDrive, start: int, end: int, first: bool, rng: np.random.Generator
) -> None:
    spec, scale = scenario.alternator, scenario.battery.nominal / 12.0
    at = start
    if first or scenario.ambient.mean < 0:
        length = START_UP_S if scenario.ambient.mean >= 0 else 1e9
        until = min(at + us(length), end)
        ramp = at + us(SOFT_S)
        volts = line([(at, 12.9 * scale), (ramp, 14.5 * scale), (until, 14.5 * scale)]) if until > ramp else None
        if volts is None:
            return
        _add(plan, scenario, drive, volts, "none")
        drive.phases.append(("first_recharge", at, until))
        at = until
    while at < end:
        until = min(at + us(float(rng.uniform(25.0, 200.0))), end)
        charging = rng.random() < 0.12  # lamps, wipers, rear screen ask for the charge mode now and then
        hold = scale * (float(rng.uniform(13.6, 14.6)) if charging else 14.3)
        plan.supplies.append(
            Supply(
                flat(at, until, hold),
                spec.max,
                spec.cable,
                economy=not charging,
                bias_a=float(rng.uniform(-1.5, 2.5)),
                floor_v=FLOOR_V * scale,
                ceiling_v=CEILING_V * scale,
                charge_below=SOC_KEPT - 0.03,
                ripple_v=drive.ripple_v,
            )
        )
        drive.phases.append(("regulated" if charging else "reduced", at, until))
        at = until
        if at + us(12.0) < end and not charging:
            until = at + us(float(rng.uniform(3.0, 11.0)))
            peak = scale * (spec.overrun_volts + float(rng.uniform(-0.4, 0.3)))
            _add(plan, scenario, drive, line([(at, 13.2 * scale), (at + us(0.8), peak), (until, peak)]), "none")
            drive.phases.append(("overrun", at, until))
            at = until
