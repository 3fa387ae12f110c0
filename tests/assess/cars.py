"""Small result documents made by hand, and fresh drawn cars whose truth is known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date
from functools import cache

import numpy as np

from monitor.assess import assess
from monitor.base.ledger import Ledger
from monitor.base.results import Drive, Log, Rest, Result, Stand, WakeUp
from monitor.base.vehicle import Battery, Vehicle
from monitor.detect import Facts, replay
from monitor.simulate import run
from monitor.simulate.draws import Cause, draw_scenario

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
FRESH = int(date.today().strftime("%Y%m%d")) * 100  # seeds no one has tuned anything to
SIXTY = Vehicle(battery=Battery(kind="flooded", capacity_ah=60.0))


def stand(start_h, end_h, out_ah=0.2, in_ah=0.0, sleep_a=0.02, wake_ups=(), **rest):
    return Stand(
        start=round(start_h * HOUR_US),
        end=round(end_h * HOUR_US),
        settled_at=round((start_h + 0.25) * HOUR_US),
        sleep_current_a=sleep_a,
        sleep_current_low_a=sleep_a,
        sleep_current_high_a=sleep_a,
        charge_out_ah=out_ah,
        charge_in_ah=in_ah,
        wake_ups=list(wake_ups),
        rest=Rest(**rest),
    )


def settled(ocv, low=None, high=None, charge=0.5):
    return {
        "volts": ocv,
        "settled": True,
        "ocv_volts": ocv,
        "ocv_low": ocv - 0.01,
        "ocv_high": ocv + 0.01,
        "state_of_charge": charge,
        "state_of_charge_low": charge - 0.1 if low is None else low,
        "state_of_charge_high": charge + 0.1 if high is None else high,
    }


def drive(start_h, end_h, in_ah=1.0, out_ah=0.1, **more):
    return Drive(
        start=round(start_h * HOUR_US), end=round(end_h * HOUR_US), charge_in_ah=in_ah, charge_out_ah=out_ah, **more
    )


def document(stands, drives=()):
    ends = [part.end for part in [*stands, *drives]]
    starts = [part.start for part in [*stands, *drives]]
    log = Log(first=min(starts), last=max(ends), samples=1, channels=["volts", "amps"])
    return Result(log=log, stands=list(stands), drives=list(drives))


def wakes(start_h, count, every_s, length_s, excess_a, level_a=0.02, jitter=0.0, seed=1):
    random = np.random.default_rng(seed)
    begins = start_h * 3600 + every_s * (np.arange(count) + jitter * random.standard_normal(count))
    return [
        WakeUp(
            start=round(b * 1e6),
            end=round((b + length_s) * 1e6),
            peak_a=level_a + excess_a,
            excess_a=excess_a,
            charge_ah=excess_a * length_s / 3600,
        )
        for b in begins
    ]


@dataclass(frozen=True)
class Car:
    """A drawn car: what it really has, and what was found."""

    capacity_ah: float
    charge_at_end: float
    found: Result
    truth: Result


@cache
def fresh_car(number: int, cause: Cause, days: float = 4.0, rate_hz: float = 0.2) -> Car:
    scenario = draw_scenario(FRESH + number, cause, rate_hz=rate_hz, days=days)
    done = run(scenario)
    given = scenario.battery
    vehicle = Vehicle(battery=Battery(kind=given.kind, nominal_v=given.nominal, capacity_ah=given.capacity))
    found = replay(done.blocks(65536), Ledger(), Facts.of(vehicle))
    return Car(
        given.capacity * given.health, max(float(done.track.soc[-1]), 0.0), assess(found, vehicle, UTC), done.truth
    )
