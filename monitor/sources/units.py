"""Units that the figures of a channel may be written in."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """Base value (V, A, °C) = figure × scale + offset."""

    scale: float = 1.0
    offset: float = 0.0


BASE = Unit()
_VOLTS = {"v": BASE, "mv": Unit(1e-3), "uv": Unit(1e-6), "kv": Unit(1e3)}
_AMPS = {"a": BASE, "ma": Unit(1e-3), "ua": Unit(1e-6), "ka": Unit(1e3)}
_CELSIUS = {"c": BASE, "f": Unit(5 / 9, -160 / 9), "k": Unit(1.0, -273.15)}
UNITS = {"volts": _VOLTS, "amps": _AMPS, "celsius": _CELSIUS}
SHOWN = {"volts": "V or mV", "amps": "A or mA", "celsius": "°C, °F or K"}

_SPELT = {
    "volt": "v", "volts": "v", "vdc": "v", "millivolt": "mv", "millivolts": "mv",
    "amp": "a", "amps": "a", "ampere": "a", "amperes": "a", "adc": "a", "milliamp": "ma", "milliamps": "ma",
    "cel": "c", "celsius": "c", "degc": "c", "deg c": "c", "°c": "c", "º c": "c", "ºc": "c", "° c": "c",
    "fahrenheit": "f", "degf": "f", "deg f": "f", "°f": "f", "ºf": "f", "kelvin": "k",
}  # fmt: skip
_TIMES = {
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "ms": "ms", "millis": "ms", "msec": "ms",
    "milliseconds": "ms", "us": "us", "µs": "us", "micros": "us", "microseconds": "us", "min": "min", "minutes": "min",
    "h": "h", "hours": "h", "d": "d", "days": "d",
}  # fmt: skip


def unit_of(channel: str, text: str) -> Unit | None:
    """The unit a text names for that channel; None when it names none.

    >>> unit_of("amps", "mA"), unit_of("celsius", "°F").scale, unit_of("volts", "A")
    (Unit(scale=0.001, offset=0.0), 0.5555555555555556, None)
    """
    key = text.strip().lower().replace("µ", "u").replace("μ", "u").replace("\ufffd", "°")
    return UNITS[channel].get(_SPELT.get(key, key))


def said_unit(channel: str, text: str) -> Unit:
    """The unit that the vehicle file names; it has been checked to be one of the channel's.

    >>> said_unit("amps", "centiampere")
    Unit(scale=0.01, offset=0.0)
    """
    known = unit_of(channel, text)
    if known is not None:
        return known
    from monitor.base.quantities import CURRENT, VOLTAGE, unit_factor

    return Unit(unit_factor(text, VOLTAGE if channel == "volts" else CURRENT))


def time_unit_of(text: str) -> str | None:
    """The canonical name of a unit of time: s, ms, us, min, h, d; None for anything else."""
    return _TIMES.get(text.strip().lower())
