"""Days to no-start at the present drain, from the actual state of charge.

Rule: no start once about 40 % of the charge that is in the battery has gone, at 25 °C (a vehicle maker's bulletin on
parasitic drain); the long end of the interval is the other published rule, a start needs 30 % state of charge (a maker
of AGM batteries). A cold battery gives up sooner: at 0 °C it has 65 % of its cranking power (technical manual).
The drain is the mean of a night: the sleep level and what the wake-ups take together.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.assess.course import Point
from monitor.assess.ratings import Capacity, days_of_drain, usable_ah
from monitor.base.results import Estimate, Result, Stand

CRANKS_FROM = 0.30  # state of charge a start needs (maker of AGM batteries)
LEAST_ASLEEP_H = 2.0  # a shorter sleep shows no mean with its wake-ups; our choice
LEAST_DRAIN_A = 0.0005  # below this the logger's zero speaks; our choice


@dataclass(frozen=True, slots=True)
class Drain:
    """Mean drain asleep, wake-ups counted, A, positive, with its interval; of which stand."""

    value_a: float
    low_a: float
    high_a: float
    sleep_a: float
    wake_ups_a: float
    stand: Stand


def drain_of(stand: Stand, last_us: int) -> Drain | None:
    """Mean drain of a stand once asleep; None where it is not known."""
    end = last_us if stand.end is None else stand.end
    if stand.settled_at is None or stand.sleep_current_a is None:
        return None
    hours = (end - stand.settled_at) / 3600e6
    if hours < LEAST_ASLEEP_H:
        return None
    wakes_a = sum(wake.charge_ah for wake in stand.wake_ups if wake.start >= stand.settled_at) / hours
    low = stand.sleep_current_low_a if stand.sleep_current_low_a is not None else stand.sleep_current_a
    high = stand.sleep_current_high_a if stand.sleep_current_high_a is not None else stand.sleep_current_a
    return Drain(stand.sleep_current_a + wakes_a, low + wakes_a, high + wakes_a, stand.sleep_current_a, wakes_a, stand)


def present_drain(result: Result) -> Drain | None:
    """The drain of the last stand that shows one."""
    last_us = result.log.last or 0
    found = [drain for stand in result.stands if (drain := drain_of(stand, last_us)) is not None]
    return found[-1] if found else None


def days_to_no_start(drain: Drain | None, charge: Point | None, capacity: Capacity) -> Estimate | None:
    """Days until the engine no longer starts if the car is left standing from the end of the log on."""
    if drain is None or charge is None or drain.value_a < LEAST_DRAIN_A:
        return None
    value = days_of_drain(usable_ah(capacity.ah, charge.value), drain.value_a)
    low = days_of_drain(usable_ah(capacity.low_ah, charge.low), max(drain.high_a, LEAST_DRAIN_A))
    usable = max(usable_ah(capacity.high_ah, charge.high), capacity.high_ah * (charge.high - CRANKS_FROM))
    high = days_of_drain(usable, max(drain.low_a, LEAST_DRAIN_A))
    return Estimate(
        value=value,
        low=min(low, value),
        high=max(high, value),
        basis=f"{drain.value_a * 1000:.0f} mA asleep with wake-ups, {charge.value * 100:.0f} % charged,"
        f" {capacity.basis}; no start after 40 % of the charge that is there (maker's bulletin, 25 °C),"
        " at the latest below 30 % state of charge (battery maker); sooner in the cold",
    )


def sentences(found: Estimate) -> list[str]:
    """The endurance in words."""
    assert found.low is not None  # `days_to_no_start` gives both ends
    assert found.high is not None
    return [
        f"Left standing, it starts for about {_days(found.value)} more ({_days(found.low)} to {_days(found.high)}):"
        f" {found.basis}."
    ]


def _days(value: float) -> str:
    return f"{value:.1f} days" if value < 9.95 else f"{value:.0f} days"
