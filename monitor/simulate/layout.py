"""From a scenario to its plan: trips in order, stands between them, and the drains that are always there."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from monitor.base.errors import SettingError
from monitor.base.fields import EPOCH
from monitor.simulate.climate import air_celsius
from monitor.simulate.drive import plan_drive
from monitor.simulate.pieces import Piece, flat, line, us
from monitor.simulate.plan import Plan, stream
from monitor.simulate.scenario import DrainSpec, Scenario, Trip
from monitor.simulate.stand import plan_stand

DAY_US = us(86400.0)
PARKED_LEAST_US = us(5.0)  # between two trips


def lay_out(scenario: Scenario) -> Plan:
    """The plan of a scenario; raises SettingError when two trips overlap.

    The first stand begins with the scenario, the vehicle asleep already; the last one or the last drive stays open.
    """
    start = (scenario.start - EPOCH) // timedelta(microseconds=1)
    plan = Plan(start, start + us(scenario.days * 86400.0))
    _drains(plan, scenario)
    at, parked_before = start, True
    number = 0
    for crank_at, trip in _trips(scenario, plan):
        if crank_at < at + PARKED_LEAST_US:
            if plan.drives:
                moment = (scenario.start + timedelta(microseconds=crank_at - start)).isoformat(" ", "minutes")
                raise SettingError(
                    f"the trip of {moment} begins before the one before it has ended",
                    "move one of them, shorten it, or give it other days",
                )
            continue  # before the scenario begins
        plan_stand(plan, scenario, number, at, crank_at, trip, parked_before)
        plan_drive(plan, scenario, number, crank_at, crank_at + us(trip.duration), trip)
        at, parked_before = plan.drives[-1].end, False
        number += 1
    if at < plan.end:
        plan_stand(plan, scenario, number, at, plan.end, None, parked_before)
    return plan


def _trips(scenario: Scenario, plan: Plan) -> list[tuple[int, Trip]]:
    """Crank instants in order, with their trips."""
    found = []
    midnight = scenario.start.replace(hour=0, minute=0, second=0, microsecond=0)
    first = (midnight - EPOCH) // timedelta(microseconds=1)
    for index, trip in enumerate(scenario.trips):
        clock_s = timedelta(hours=trip.at.hour, minutes=trip.at.minute, seconds=trip.at.second).total_seconds()
        rng = stream(scenario.seed, "trip", index)
        for day in range(int(scenario.days) + 2):
            late = trip.jitter * float(np.clip(rng.standard_normal(), -2.5, 2.5))
            at = first + day * DAY_US + us(clock_s + late)
            if (trip.days is None or day in trip.days) and plan.start < at < plan.end - us(60.0):
                found.append((at, trip))
    return sorted(found, key=lambda pair: pair[0])


def _drains(plan: Plan, scenario: Scenario) -> None:
    for drain in scenario.drains:
        a = plan.start + us(drain.after)
        b = plan.end if drain.until is None else min(plan.end, plan.start + us(drain.until))
        if b <= a or drain.kind == "intermittent":  # intermittent ones are planned stand by stand
            continue
        piece = _drain(scenario, drain, a, b)
        plan.loads.append(piece)
        plan.level_drains.append(piece)


def _drain(scenario: Scenario, drain: DrainSpec, a: int, b: int) -> Piece:
    if drain.kind == "rising":
        return line([(a, 0.0), (b, drain.amps)])
    if drain.kind == "temperature":
        t = np.unique(np.append(np.arange(a, b, us(900.0)), b))
        share = 1 + drain.per_kelvin * (air_celsius(scenario, t) - 15.0)
        return Piece(t, drain.amps * np.maximum(share, 0.05))
    return flat(a, b, drain.amps)
