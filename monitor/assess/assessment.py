"""One result document in, one out: wake-up groups, balance, battery and verdict filled in.

Pure, and deterministic: it looks at nothing but the document, the vehicle and the zone whose days are meant.
"""

from __future__ import annotations

from datetime import tzinfo

from monitor.assess import balance, battery, course, endurance, groups, resistance
from monitor.assess.ratings import capacity_of
from monitor.assess.verdict import judge
from monitor.base.results import BatteryFindings, Result
from monitor.base.vehicle import Vehicle
from monitor.detect.quarters import days_of


def assess(result: Result, vehicle: Vehicle, zone: tzinfo | None) -> Result:
    """A copy of `result` with what its stands and drives mean.

    zone   whose days the balance is told by; None: this computer's
    """
    told = result.model_copy(deep=True)
    told.wake_up_groups = groups.group_wake_ups(told)
    if told.quarters:
        told.balance = days_of(told.quarters, told.log.gaps, told.log.unobserved_s, zone)
    told.battery = _battery(told, vehicle, zone)
    told.verdict = judge(told, vehicle)
    return told


def _battery(result: Result, vehicle: Vehicle, zone: tzinfo | None) -> BatteryFindings | None:
    if not result.stands and not result.drives:
        return None
    kind, scale = vehicle.battery.kind, vehicle.battery.nominal_v / 12.0
    capacity = capacity_of(vehicle.battery)
    held = battery.holds_charge(result, capacity, kind, scale)
    points = [] if held.cell_is_short else course.course(result, capacity)
    now = points[-1] if points else None
    total = balance.total(result, kind, zone)
    change = course.trend(result, points, capacity)
    lasts = endurance.days_to_no_start(endurance.present_drain(result), now, capacity)
    statements = [
        *(balance.sentences(total) if total is not None else []),
        *(course.sentences(change) if change is not None else []),
        *(endurance.sentences(lasts) if lasts is not None else []),
        *battery.crank_sentences(result, scale),
        *held.told,
        *battery.acceptance_sentences(result, capacity, scale),
        *groups.sentences(result.wake_up_groups),
    ]
    return BatteryFindings(
        state_of_charge=now.value if now is not None else None,
        state_of_charge_low=now.low if now is not None else None,
        state_of_charge_high=now.high if now is not None else None,
        capacity_ah=battery.capacity_estimate(result, capacity, kind, scale) if points else None,
        resistance_mohm=resistance.resistance(result),
        holds_charge=held.holds,
        days_to_no_start=lasts,
        statements=statements,
    )
