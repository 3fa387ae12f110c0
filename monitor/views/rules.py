"""Rules as a person reads them: presets, the limits that hold for a vehicle, one limit in full, the quantities."""

from __future__ import annotations

from typing import IO, Any

from monitor.base.errors import printable
from monitor.base.vehicle import Battery
from monitor.limits.quantities import QUANTITIES, Quantity, Side
from monitor.limits.rules import Limit, Rules
from monitor.views.lines import Lines
from monitor.views.words import NB, joined, length

PRIORITIES = ("critical", "high", "medium", "low")
JUDGED = {
    "second": "every second",
    "minute": "every minute",
    "event": "when it happens",
    "hour": "every hour, and when a stand or drive ends",
    "service": "by the service",
}
WORDS: dict[Side, str] = {"high": "above", "low": "below"}


def print_presets(presets: list[tuple[str, str]], file: IO[str] | None = None, width: int | None = None) -> None:
    """Each preset with its line."""
    out = Lines(file, width)
    column = max(len(name) for name, _ in presets) + 2
    for name, about in presets:
        out.wrapped(about, column, name)
    out.line()
    out.wrapped("keyoff rules PRESET shows one; keyoff rules --vehicle FILE what holds for a vehicle.", weight="dim")


def print_quantities(file: IO[str] | None = None, width: int | None = None) -> None:
    """What a limit may be set on, and how it is written."""
    out = Lines(file, width)
    column = max(map(len, QUANTITIES)) + 2
    for name, quantity in QUANTITIES.items():
        over = ", over a window" if quantity.windowed else ""
        out.wrapped(
            f"{quantity.meaning} {_capital(joined(list(quantity.sides)))}, as {quantity.example}{over}.", column, name
        )


def quantities_table() -> list[dict[str, Any]]:
    """The same for a program."""
    return [
        {
            "name": one.name,
            "unit": one.unit,
            "judged": one.judged,
            "meaning": one.meaning,
            "sides": list(one.sides),
            "windowed": one.windowed,
            "lowest": one.low,
            "highest": one.high,
        }
        for one in QUANTITIES.values()
    ]


def print_rules(rules: Rules, battery: Battery, file: IO[str] | None = None, width: int | None = None) -> None:
    """All limits, the most urgent first, one line each."""
    out = Lines(file, width)
    out.wrapped(f"{printable(rules.name)}: {printable(rules.about) or 'limits'}", weight="bold")
    out.wrapped(f"For {_battery(battery)}.", weight="dim")
    for remark in rules.remarks:
        out.wrapped(f"{_capital(printable(remark))}.")
    judged = [limit for limit in rules.limits if limit.enabled]
    column = max((len(limit.name) for limit in judged), default=0) + 4
    for priority in PRIORITIES:
        here = [limit for limit in judged if limit.priority == priority]
        if here:
            out.line()
            out.line(_capital(priority), "bold")
        for limit in here:
            out.wrapped(_short(limit), column, f"  {limit.name}")
    left_out = [limit.name for limit in rules.limits if not limit.enabled]
    if left_out:
        out.line()
        out.wrapped(f"Switched off: {', '.join(left_out)}.")
    out.line()
    out.wrapped(
        f"keyoff rules {printable(rules.name)} --limit NAME explains one. The vehicle's service manual prevails.",
        weight="dim",
    )


def print_limit(limit: Limit, rules: Rules, file: IO[str] | None = None, width: int | None = None) -> None:
    """One limit in full."""
    out = Lines(file, width)
    quantity = QUANTITIES[limit.quantity]
    out.wrapped(f"{limit.name}, {limit.priority}, of {printable(rules.name)}", weight="bold")
    out.line()
    rows = [
        ("Judged", f"{quantity.meaning} Looked at {JUDGED[quantity.judged]}."),
        ("Limit", f"{_capital(_setpoints(limit, quantity) or limit.basis)}.{_rests(limit)}"),
        *([("By °C", _table(limit, quantity))] if limit.by_celsius else []),
        ("Raised", _raised(limit)),
        ("Returns", _returns(limit, quantity)),
        *(
            [("Quiet", f"While {_one_of(limit.yields_to)} is raised: it would tell the same again.")]
            if limit.yields_to
            else []
        ),
        ("Cause", printable(limit.cause)),
        ("Do", printable(limit.response)),
        ("Source", f"{_capital(printable(limit.source))}."),
    ]
    for label, text in rows:
        out.wrapped(text, 9, label)
    if not limit.enabled:
        out.line()
        out.wrapped("Switched off in these rules.")


def _battery(battery: Battery) -> str:
    known = [f"{battery.nominal_v:g}{NB}V"]
    if battery.capacity_ah is not None:
        known.append(f"{battery.capacity_ah:g}{NB}Ah")
    if battery.reserve_s is not None:
        known.append(f"reserve {battery.reserve_s / 60:g}{NB}min")
    return f"a battery of kind {battery.kind or 'not said'}, {', '.join(known)}"


def _short(limit: Limit) -> str:
    quantity = QUANTITIES[limit.quantity]
    setpoints = _setpoints(limit, quantity)
    if not setpoints:
        return printable(limit.basis)
    over = f" over {length(limit.window_s)}" if limit.window_s else ""
    lasting = f" for {length(limit.on_delay_s)}" if limit.on_delay_s else ""
    after = f", {length(limit.after_s)} after key-off" if limit.after_s else ""
    return f"{limit.quantity} {setpoints}{over}{lasting}{after}"


def _setpoints(limit: Limit, quantity: Quantity) -> str:
    sides: tuple[tuple[Side, float | None], ...] = (("low", limit.low), ("high", limit.high))
    if quantity.unit == "1" and quantity.dimension.unit == "1":
        return f"{limit.high:g} or more" if limit.high is not None else ""
    texts = [f"{WORDS[side]} {_value(quantity, value)}" for side, value in sides if value is not None]
    if limit.by_celsius:
        values = [value for _, value in limit.by_celsius]
        low, high = min(values), max(values)
        texts.append(f"({_value(quantity, low)} to {_value(quantity, high)} by temperature)")
        return " ".join(texts)
    return " or ".join(texts)


def _value(quantity: Quantity, value: float) -> str:
    return quantity.write(value).replace(" ", NB).replace("-", "−")


def _table(limit: Limit, quantity: Quantity) -> str:
    rows = [f"{celsius:g}{NB}°C {_value(quantity, value)}".replace("-", "−") for celsius, value in limit.by_celsius]
    return f"{', '.join(rows)}; straight between them, the value above where no temperature is known."


def _rests(limit: Limit) -> str:
    setpoint = limit.high if limit.high is not None else limit.low
    return f" Rests on {printable(limit.basis)}." if limit.basis and setpoint is not None else ""


def _raised(limit: Limit) -> str:
    quantity = QUANTITIES[limit.quantity]
    at_once = "at once" if quantity.judged == "event" else "as soon as it is seen"
    course = " of driving" if quantity.pauses else ""
    lasting = f"once it has lasted {length(limit.on_delay_s)}{course}" if limit.on_delay_s else at_once
    over = f", taken over {length(limit.window_s)}" if limit.window_s else ""
    after = f"; not before {length(limit.after_s)} of the stand or drive" if limit.after_s else ""
    return _capital(f"{lasting}{over}{after}.")


def _returns(limit: Limit, quantity: Quantity) -> str:
    if limit.latched:
        return "When it is acknowledged: it stays though the event is over."
    if quantity.judged == "event":
        return "With the next that is within its limit."
    lasting = f", for {length(limit.off_delay_s)}" if limit.off_delay_s else ""
    if quantity.unit == "s":
        return f"When it is over{lasting}."
    ends = [
        f"{word} {_value(quantity, value)}"
        for word, value in (
            ("above", limit.low + limit.deadband if limit.low is not None else None),
            ("below", limit.high - limit.deadband if limit.high is not None else None),
        )
        if value is not None
    ]
    return _capital(f"{' and '.join(ends) or 'never judged'}{lasting}.")


def _one_of(names: tuple[str, ...]) -> str:
    return " or ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
