"""Findings, alarms and marks → points: what a server gets of each event of the journal.

A point's measurement, tags and time are all that make it unique, so each is made of the event alone. Alarms carry the
limits they were raised by: those of a second judgement, under others, stand beside the first and do not mix.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple, get_args

from monitor.base.alarms import Transition
from monitor.base.orders import Order
from monitor.base.results import Cause, Crank, Drive, QuarterHour, Result, Stand
from monitor.base.samples import SECOND_US
from monitor.store.forward_assessment import KIND
from monitor.store.points import Fields, Tags

AH_PER_NC = 1e-9 / 3600.0
ACTIVE = ("unacknowledged", "acknowledged", "shelved")  # the limit is still passed


class Finding(NamedTuple):
    """One point to be: measurement, tags besides vehicle, fields, time in µs."""

    measurement: str
    tags: Tags
    fields: Fields
    t_us: int


def findings(kind: str, t_us: int, text: str, limits: Callable[[Transition], str]) -> Iterator[Finding]:
    """The points of one event; none for a kind that has no points. Raises ValueError when the text is no such event.

    limits   gives the label of the rules that an alarm was raised by
    """
    if kind == "stand":
        yield from _stand(Stand.model_validate_json(text))
    elif kind == "drive":
        yield from _drive(Drive.model_validate_json(text))
    elif kind == "quarter":
        yield from _quarter(QuarterHour.model_validate_json(text))
    elif kind == "transition":
        step = Transition.model_validate_json(text)
        yield _transition(step, limits(step))
    elif kind == KIND:
        yield from _assessment(Result.model_validate_json(text), t_us)


def mark(order: Order) -> Iterator[Finding]:
    """The point of a mark that a person set; none for other orders."""
    if order.mark is not None:
        yield Finding("keyoff_mark", {"kind": order.mark.kind}, {"set": 1.0}, order.mark.at)


def _stand(stand: Stand) -> Iterator[Finding]:
    rest = stand.rest
    yield Finding(
        "keyoff_stand",
        {},
        {
            "length_s": _length_s(stand.start, stand.end),
            "time_to_sleep_s": stand.time_to_sleep_s,
            "sleep_current_a": stand.sleep_current_a,
            "sleep_current_low_a": stand.sleep_current_low_a,
            "sleep_current_high_a": stand.sleep_current_high_a,
            "wake_ups": len(stand.wake_ups) + stand.wake_ups_uncounted,
            "failed_starts": len(stand.failed_starts),
            "charge_in_ah": stand.charge_in_ah,
            "charge_out_ah": stand.charge_out_ah,
            "unobserved_s": stand.unobserved_s,
            "rest_volts": rest.volts,
            "rest_settled": rest.settled,
            "ocv_volts": rest.ocv_volts,
            "decay_mv_per_h": rest.decay_mv_per_h,
            "state_of_charge": rest.state_of_charge,
        },
        stand.start,
    )
    for level in stand.plateaus:
        fields: Fields = {"length_s": _length_s(level.start, level.end), "amps": level.amps, "volts": level.volts}
        yield Finding("keyoff_plateau", {}, fields, level.start)
    for step in stand.level_steps:
        yield Finding("keyoff_level_step", {}, {"from_a": step.from_a, "to_a": step.to_a}, step.at)
    for wake in stand.wake_ups:
        fields = {"peak_a": wake.peak_a, "excess_a": wake.excess_a, "charge_ah": wake.charge_ah}
        yield Finding("keyoff_wake_up", {}, {"length_s": _length_s(wake.start, wake.end), **fields}, wake.start)
    for crank in stand.failed_starts:
        yield _crank(crank, "no")


def _drive(drive: Drive) -> Iterator[Finding]:
    charging = drive.charging
    yield Finding(
        "keyoff_drive",
        {"regulation": charging.regulation},
        {
            "length_s": _length_s(drive.start, drive.end),
            "charging_delay_s": charging.delay_s,
            "charging_volts": charging.volts_median,
            "charging_volts_p05": charging.volts_p05,
            "charging_volts_p95": charging.volts_p95,
            "tail_amps": charging.tail_amps,
            "ripple_mv": charging.ripple_mv,
            "charge_in_ah": drive.charge_in_ah,
            "charge_out_ah": drive.charge_out_ah,
            "unobserved_s": drive.unobserved_s,
            "stops": len(drive.stops),
        },
        drive.start,
    )
    for fault in charging.faults:
        yield Finding("keyoff_charging_fault", {"fault": fault}, {"seen": 1.0}, drive.start)
    if drive.crank is not None:
        yield _crank(drive.crank, "yes")


def _crank(crank: Crank, started: str) -> Finding:
    fields: Fields = {
        "length_s": crank.duration_s,
        "volts_before": crank.volts_before,
        "volts_min": crank.volts_min,
        "amps_peak": crank.amps_peak,
        "resistance_mohm": crank.resistance_mohm,
    }
    return Finding("keyoff_crank", {"started": started}, {"seen": 1.0, **fields}, crank.start)


def _quarter(quarter: QuarterHour) -> Iterator[Finding]:
    charge: Fields = {}
    if quarter.counted:
        into, out = quarter.in_nc * AH_PER_NC, quarter.out_nc * AH_PER_NC
        charge = {"in_ah": into, "out_ah": out, "net_ah": into - out}
    yield Finding("keyoff_quarter_hour", {}, {**charge, "unobserved_s": quarter.gap_us / SECOND_US}, quarter.start)


def _transition(step: Transition, limits: str) -> Finding:
    alarm = step.alarm
    return Finding(
        "keyoff_alarm",
        {"limit": alarm.limit, "limits": limits, "priority": alarm.priority, "quantity": alarm.quantity},
        {
            "active": alarm.state in ACTIVE and alarm.returned is None,
            "acknowledged": alarm.acknowledged is not None,
            "raised": step.what == "raised",
            "value": alarm.value,
            "worst": alarm.worst,
            "setpoint": alarm.setpoint,
        },
        step.at,
    )


def _assessment(result: Result, t_us: int) -> Iterator[Finding]:
    """Each cause has its own series, so that the latest point of every one of them tells the present verdict."""
    if (verdict := result.verdict) is not None:
        sure: dict[str, float] = {other.cause: other.confidence for other in verdict.also}
        sure[verdict.cause] = verdict.confidence
        for cause in get_args(Cause):
            yield Finding(
                "keyoff_verdict",
                {"cause": cause},
                {"told": cause == verdict.cause, "confidence": sure.get(cause, 0.0)},
                t_us,
            )
    if (battery := result.battery) is not None:
        days, capacity = battery.days_to_no_start, battery.capacity_ah
        yield Finding(
            "keyoff_battery",
            {},
            {
                "state_of_charge": battery.state_of_charge,
                "state_of_charge_low": battery.state_of_charge_low,
                "state_of_charge_high": battery.state_of_charge_high,
                "capacity_ah": capacity.value if capacity else None,
                "resistance_mohm": battery.resistance_mohm.value if battery.resistance_mohm else None,
                "holds_charge": battery.holds_charge,
                "days_to_no_start": days.value if days else None,
                "days_to_no_start_low": days.low if days else None,
                "days_to_no_start_high": days.high if days else None,
            },
            t_us,
        )


def _length_s(start_us: int, end_us: int | None) -> float | None:
    return None if end_us is None else (end_us - start_us) / SECOND_US
