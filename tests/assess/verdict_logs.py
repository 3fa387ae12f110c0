"""Result documents made by hand: a car of 70 Ah over some days, in order unless a test spoils it."""

from __future__ import annotations

from typing import Any

from monitor.base.results import Charging, Crank, Drive, Log, Plateau, Rate, Rest, Result, Stand, WakeUp
from monitor.base.vehicle import Battery, Vehicle

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
CAR = Vehicle(battery=Battery(kind="flooded", capacity_ah=70.0))


def crank(at: int, **figures: Any) -> Crank:
    """A good start: 0.8 s, 150 A, 5.2 mΩ, fast logger."""
    usual: dict[str, Any] = {
        "duration_s": 0.8,
        "volts_before": 12.6,
        "volts_min": 11.0,
        "amps_peak": -310.0,
        "amps_plateau": -150.0,
        "resistance_mohm": 5.2,
        "sampled_hz": 10.0,
    }
    return Crank(start=at, **{**usual, **figures})


def drive(at: int, hours: float = 0.75, started: Crank | None = None, into_ah: float = 4.0, **charging: Any) -> Drive:
    """A drive at 14.4 V."""
    usual: dict[str, Any] = {
        "delay_s": 1.5,
        "volts_median": 14.4,
        "volts_p05": 14.3,
        "volts_p95": 14.5,
        "regulation": "fixed",
        "faults": [],
    }
    return Drive(
        start=at,
        end=at + int(hours * HOUR_US),
        crank=started or crank(at),
        charging=Charging(**{**usual, **charging}),
        charge_in_ah=into_ah,
        charge_out_ah=0.3,
    )


def stand(
    at: int,
    hours: float = 11.0,
    amps: float | None = 0.02,
    ocv: float = 12.55,
    charge: float = 0.87,
    wakes: list[WakeUp] | None = None,
    decay_mv_per_h: float | None = None,
) -> Stand:
    """A night: asleep after half an hour; `amps` None: no current logged."""
    asleep, end = at + HOUR_US // 2, at + int(hours * HOUR_US)
    rest = Rest(
        volts=ocv,
        settled=True,
        ocv_volts=ocv,
        state_of_charge=charge,
        state_of_charge_low=charge - 0.1,
        state_of_charge_high=min(charge + 0.1, 1.0),
        decay_mv_per_h=decay_mv_per_h,
    )
    if amps is None:
        return Stand(start=at, end=end, rest=rest)
    return Stand(
        start=at,
        end=end,
        settled_at=asleep,
        time_to_sleep_s=1800.0,
        sleep_current_a=amps,
        plateaus=[Plateau(start=asleep, end=end, amps=-amps)],
        wake_ups=wakes or [],
        charge_in_ah=0.0,
        charge_out_ah=amps * hours + 0.5 + sum(wake.charge_ah for wake in wakes or []),
        rest=rest,
    )


def wakes(at: int, excess_a: float, length_s: float, every_s: float, hours: float = 10.0) -> list[WakeUp]:
    """Wake-ups alike, from an hour after `at` on."""
    starts = range(at + HOUR_US, at + int(hours * HOUR_US), int(every_s * 1e6))
    return [
        WakeUp(
            start=t,
            end=t + int(length_s * 1e6),
            peak_a=excess_a + 0.02,
            excess_a=excess_a,
            charge_ah=excess_a * length_s / 3600,
        )
        for t in starts
    ]


def log_of(*parts: Stand | Drive, has_amps: bool = True, **more: Any) -> Result:
    """The document of these stands and drives."""
    ends = [part.end or part.start for part in parts]
    first = min((part.start for part in parts), default=None)
    return Result(
        log=Log(
            first=first,
            last=max(ends, default=None),
            samples=1,
            channels=["volts", "amps", "celsius"] if has_amps else ["volts", "celsius"],
            rate_hz=Rate(median=10.0, max=10.0),
        ),
        stands=[part for part in parts if isinstance(part, Stand)],
        drives=[part for part in parts if isinstance(part, Drive)],
        **more,
    )


def days(
    count: int = 3, night: dict[str, Any] | None = None, trip: dict[str, Any] | None = None
) -> list[Stand | Drive]:
    """So many nights, each followed by a drive."""
    parts: list[Stand | Drive] = []
    for day in range(count):
        at = day * DAY_US
        parts += [stand(at, **(night or {})), drive(at + 11 * HOUR_US, **(trip or {}))]
    return parts
