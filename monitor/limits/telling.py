"""How an alarm is put: the models that a raised, shelved or removed limit is told by."""

from __future__ import annotations

from monitor.base.alarms import Alarm
from monitor.base.fields import iso
from monitor.limits.quantities import QUANTITIES, SHARE, Side
from monitor.limits.rules import Limit


def raised_alarm(
    limit: Limit, side: Side, value: float, worst: float, setpoint: float, since: int, at: int, basis: str
) -> Alarm:
    """An alarm raised at `at` for a passage since `since`; `basis`: what was seen then."""
    alarm = empty_alarm(limit, side, since)
    word = "at or above" if side == "high" else "at or below"
    course = "driving so" if QUANTITIES[limit.quantity].pauses else "it"
    waited = f", told after {figure(limit.on_delay_s, 's')} of {course}" if limit.on_delay_s else ""
    unit = "share" if QUANTITIES[limit.quantity].dimension is SHARE else limit.unit
    detail = f"{figure(value, unit)}: {word} {figure(setpoint, unit)} since {iso(since)}{waited}."
    detail = " ".join(part for part in (detail, basis, limit.basis) if part)
    changes = {"value": value, "worst": worst, "setpoint": setpoint, "raised": at, "detail": detail}
    return alarm.model_copy(update={**changes, "state": "unacknowledged"})


def empty_alarm(limit: Limit, side: Side, at: int) -> Alarm:
    """What is shown of a limit that is shelved or out of service without an alarm."""
    return Alarm(
        limit=limit.name,
        quantity=limit.quantity,
        unit=limit.unit,
        side=side,
        setpoint=limit.setpoint(side, None) or 0.0,
        priority=limit.priority,
        since=at,
        raised=at,
        state="normal",
        cause=limit.cause,
        response=limit.response,
    )


def figure(value: float, unit: str) -> str:
    """A value with a unit that fits, in four digits; days and shares are estimates, and get fewer.

    >>> figure(0.0951, "A"), figure(900.0, "s"), figure(9000.0, "s"), figure(3.0, "1")
    ('95.1 mA', '15 min', '2.5 h', '3')
    >>> figure(1.166, "d"), figure(0.4202, "share")
    ('1.2 days', '42 %')
    """
    if unit == "share":
        return f"{value * 100:.0f} %"
    if unit == "d":
        return f"{value:.{1 if value < 9.95 else 0}f} days"
    steps = {"A": ((1.0, "A"), (1e-3, "mA")), "s": ((7200.0, "h"), (120.0, "min"), (0.0, "s")), "1": ((0.0, ""),)}
    shown, factor = unit, 1.0
    for least, smaller in steps.get(unit, ((0.0, unit),)):
        shown = smaller
        if abs(value) >= least:
            break
    factor = {"mA": 1e3, "h": 1 / 3600.0, "min": 1 / 60.0}.get(shown, 1.0) if shown != unit else 1.0
    return f"{value * factor:.4g} {shown}".rstrip()
