"""What a battery's ratings say: reserve capacity in ampere-hours, the drain it allows, how long a drain takes.

Sources: reserve capacity is the time at 25 A to 10.5 V; a vehicle maker's bulletin on parasitic drain takes 0.6 Ah a
minute of it at the 20 h rate, and no start after about 40 % of what is there; a service manual of 2001 allows a
parasitic drain of a quarter of the reserve minutes in mA.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.base.vehicle import Battery

RESERVE_A = 25.0  # definition of reserve capacity
AH_PER_RESERVE_MIN = 0.6  # bulletin; other published pages print 0.55 to 0.60
AH_PER_RESERVE_MIN_LEAST = 0.55
NO_START_SHARE = 0.4  # bulletin: no start once about 40 % of the available charge is gone, at 25 °C
# Where neither capacity nor reserve is known: the range of starter batteries in cars. Our choice; 60 Ah is usual.
ASSUMED_AH, ASSUMED_LEAST_AH, ASSUMED_MOST_AH = 60.0, 45.0, 100.0
RATED_LEAST_SHARE = 0.8  # a battery below 80 % of its rated capacity counts as worn: what a sound one may have lost


@dataclass(frozen=True, slots=True)
class Capacity:
    """Capacity at the 20 h rate, Ah, with its interval; `basis` in words; `is_known`: the owner gave it."""

    ah: float
    low_ah: float
    high_ah: float
    basis: str
    is_known: bool


def capacity_of(battery: Battery) -> Capacity:
    """Capacity as the owner says it: in Ah, else from the reserve minutes, else the usual for a car.

    >>> capacity_of(Battery(reserve="110 min")).ah
    66.0
    """
    if battery.capacity_ah is not None:
        rated = battery.capacity_ah
        return Capacity(rated, RATED_LEAST_SHARE * rated, rated, f"rated {rated:g} Ah", True)
    if battery.reserve_s is not None:
        minutes = battery.reserve_s / 60.0
        least = RATED_LEAST_SHARE * AH_PER_RESERVE_MIN_LEAST * minutes
        from_reserve = ah_of_reserve(minutes)
        return Capacity(from_reserve, least, from_reserve, f"0.6 Ah a minute of {minutes:g} min reserve", True)
    return Capacity(
        ASSUMED_AH,
        ASSUMED_LEAST_AH,
        ASSUMED_MOST_AH,
        f"capacity not known, {ASSUMED_AH:.0f} Ah assumed ({ASSUMED_LEAST_AH:.0f} to {ASSUMED_MOST_AH:.0f})",
        False,
    )


def ah_at_25_a(reserve_min: float) -> float:
    """Charge given at 25 A, by the definition of reserve capacity."""
    return RESERVE_A * reserve_min / 60.0


def ah_of_reserve(reserve_min: float) -> float:
    """Capacity at the 20 h rate, Ah, by the bulletin's rule."""
    return AH_PER_RESERVE_MIN * reserve_min


def drain_limit_a(reserve_min: float) -> float:
    """Parasitic drain allowed, A: a quarter of the reserve minutes in mA (service manual, 2001)."""
    return reserve_min / 4.0 / 1000.0


def usable_ah(capacity_ah: float, state_of_charge: float = 1.0) -> float:
    """Charge that may go before the engine no longer starts, Ah: 40 % of what is in the battery (bulletin)."""
    return NO_START_SHARE * capacity_ah * state_of_charge


def days_of_drain(charge_ah: float, drain_a: float) -> float:
    """How many days a drain takes to use a charge."""
    return charge_ah / drain_a / 24.0
