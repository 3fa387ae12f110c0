"""A setpoint as written in a rules file becomes a number for one battery, and says what it rests on."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from monitor.base.quantities import CAPACITY, DURATION, VOLTAGE, Dimension, parse_quantity
from monitor.base.vehicle import Battery
from monitor.limits.quantities import COUNT, RISE, SHARE, Quantity
from monitor.limits.rules_file import Setpoint

CELSIUS = re.compile(r"\s*([+-]?\d{1,3}(?:\.\d+)?)\s*°C\s*")
COLDEST, HOTTEST = -60.0, 120.0  # °C of a row; our choice
CELL_V = 2.0  # nominal, of a lead-acid cell; three volts of a 12 V LiFePO4 battery's four cells
LIFEPO4_CELL_V = 3.0
REFERENCE_V = 12.0  # nominal voltage for which believable ranges are given


class WrongValueError(Exception):
    """A value that cannot be used: the key under the setpoint, what was expected, and what was found."""

    def __init__(self, key: tuple[str, ...], expected: str, found: Any) -> None:
        super().__init__(expected)
        self.key, self.expected, self.found = key, expected, found


@dataclass(frozen=True, slots=True)
class Resolved:
    """A setpoint for one battery: its value, rows by °C, the factor of its volts, and what it rests on."""

    value: float | None
    by_celsius: tuple[tuple[float, float], ...] = ()
    factor: float = 1.0
    basis: str = ""


def resolve_setpoint(written: Setpoint, quantity: Quantity, battery: Battery) -> Resolved:
    """The setpoint for `battery`; raises WrongValueError for a value that no battery could have."""
    factor = _factor(written, quantity, battery)

    def read(key: tuple[str, ...], text: Any) -> float:
        value = round(_number(quantity.read, key, text, quantity.example) * factor, 9)
        return _believable(quantity, battery, key, text, value)

    numbers = {key: read(key, text) for key, text in _values(written)}
    shares = {
        key: (_proportion(quantity, (key,), text, dimension), size, said)
        for key, text, dimension, size, said in (
            ("per_reserve", written.per_reserve, DURATION, battery.reserve_s, _minutes(battery.reserve_s)),
            ("per_capacity", written.per_capacity, CAPACITY, battery.capacity_ah, f"{battery.capacity_ah or 0:g} Ah"),
        )
        if text is not None
    }
    value, basis = numbers.get(("value",)), ""
    if (kind := ("by_kind", battery.kind or "unknown")) in numbers:
        value, basis = numbers[kind], f"battery kind {battery.kind or 'not said'}"
    for key, (proportion, size, said) in reversed(shares.items()):
        if size is not None:
            name = "reserve capacity" if key == "per_reserve" else "capacity"
            value, basis = round(proportion * size, 9), f"{name} of {said}: {getattr(written, key)}"
    least, most = numbers.get(("least",)), numbers.get(("most",))
    if least is not None and most is not None and least > most:
        raise WrongValueError(("least",), "expected less than most", written.least)
    if value is None:
        needed = " or ".join(f"[battery] {key.partition('_')[2]}" for key in shares) or "[battery] kind"
        return Resolved(None, basis=f"not judged: the vehicle file does not say {needed}")
    for bound, beyond, word in ((least, min, "below"), (most, max, "above")):
        if bound is not None and beyond(value, bound) != bound:
            value, basis = bound, f"{basis or 'as written'}, not {word} {quantity.write(bound)}"
    rows = sorted((_celsius(key), numbers[key]) for key in numbers if key[0] == "by_celsius")
    if len({celsius for celsius, _ in rows}) < len(rows):
        raise WrongValueError(("by_celsius",), "expected each temperature once", written.by_celsius)
    return Resolved(_believable(quantity, battery, (), basis, value), tuple(rows), factor, basis)


def resolve_deadband(text: Any, quantity: Quantity, setpoint: Resolved) -> float:
    """The deadband in the unit of the quantity; "20 %" is a share of the setpoint, unless the quantity is one."""
    share = isinstance(text, str) and text.strip().endswith("%") and quantity.dimension not in (SHARE, RISE)
    if share:
        of_it = _number(lambda t: parse_quantity(t, Dimension("a share", "dimensionless", "20 %")), (), text, "20 %")
        if not 0 <= of_it < 1:
            raise WrongValueError((), "expected a share from 0 to 99 %", text)
        return round(of_it * abs(setpoint.value or 0.0), 9)
    value = _number(quantity.read, (), text, quantity.example)
    if value < 0:
        raise WrongValueError((), "expected zero or more", text)
    return round(value * setpoint.factor, 9)


def _values(written: Setpoint) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Each plain value with its key; rows of tables too."""
    for key in ("value", "least", "most"):
        if (value := getattr(written, key)) is not None:
            yield (key,), value
    for key in ("by_kind", "by_celsius"):
        for row, value in (getattr(written, key) or {}).items():
            yield (key, row), value


def _factor(written: Setpoint, quantity: Quantity, battery: Battery) -> float:
    """By which volts for one cell, or another nominal voltage, become those of this battery."""
    if written.per is None:
        return 1.0
    if quantity.dimension is not VOLTAGE:
        raise WrongValueError(("per",), "expected no per here: it belongs to volts", written.per)
    if written.per == "cell":
        return round(battery.nominal_v / (LIFEPO4_CELL_V if battery.kind == "lifepo4" else CELL_V))
    return battery.nominal_v / parse_quantity(written.per, VOLTAGE)


def _number(read: Callable[[Any], float], key: tuple[str, ...], text: Any, example: str) -> float:
    try:
        return read(text)
    except ValueError as wrong:
        shown = example if example.isdigit() else f'"{example}"'
        raise WrongValueError(key, f"expected a value as {shown}: {wrong}", text) from wrong


def _believable(quantity: Quantity, battery: Battery, key: tuple[str, ...], found: Any, value: float) -> float:
    scale = battery.nominal_v / REFERENCE_V if quantity.per_nominal else 1.0
    low, high = round(quantity.low * scale, 9), round(quantity.high * scale, 9)
    if not low <= value <= high:
        of_battery = f" for a battery of {battery.nominal_v:g} V" if quantity.per_nominal else ""
        raise WrongValueError(key, f"expected {quantity.write(low)} to {quantity.write(high)}{of_battery}", found)
    return value


def _proportion(quantity: Quantity, key: tuple[str, ...], text: Any, dimension: Dimension) -> float:
    """ "0.25 mA per min" as A/s: the unit of the quantity over the base unit of `dimension`."""
    example = f"{quantity.example} per {'min' if dimension is DURATION else 'Ah'}"
    if quantity.dimension is COUNT or not isinstance(text, str) or " per " not in text:
        raise WrongValueError(key, f'expected a value as "{example}"', text)
    number, _, each = text.rpartition(" per ")
    return _number(lambda _: quantity.read(number) / parse_quantity(f"1 {each.strip()}", dimension), key, text, example)


def _celsius(key: tuple[str, ...]) -> float:
    found = CELSIUS.fullmatch(key[1])
    if found is None or not COLDEST <= float(found[1]) <= HOTTEST:
        raise WrongValueError(key, 'expected a temperature as "-18 °C"', key[1])
    return float(found[1])


def _minutes(seconds: float | None) -> str:
    return f"{(seconds or 0) / 60:g} min"
