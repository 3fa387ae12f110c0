"""The limited quantities and their values in words, the same in notices, lists and replays."""

from __future__ import annotations

from monitor.limits.quantities import QUANTITIES, SHARE
from monitor.views.words import amps, charge, length, volts

SHARES = {name for name, quantity in QUANTITIES.items() if quantity.dimension is SHARE}  # told in percent

NAMES = {
    "charging_volts": "charging voltage",
    "crank_duration": "length of the crank",
    "crank_volts_min": "lowest volts while cranking",
    "days_to_no_start": "time left until it may not start",
    "decay": "fall of the rest voltage",
    "disk_free": "free disk space",
    "gap_share": "share of time not observed",
    "mean_night_current": "mean drain asleep, with wake-ups",
    "net_balance": "charge balance",
    "night_charge": "charge taken while standing",
    "notices_waiting": "age of the oldest undelivered notice",
    "resistance_rise": "rise of the cranking resistance",
    "rest_volts": "rest voltage",
    "standing_current": "drain while standing",
    "uncharged": "engine running without charging",
    "volts": "volts at the battery",
    "wake_up_charge": "charge of one wake-up",
    "wake_up_length": "length of the wake-up",
    "wake_up_rate": "wake-ups an hour",
}


def quantity_name(quantity: str) -> str:
    """A quantity of the rules in words.

    >>> quantity_name("sleep_current"), quantity_name("crank_volts_min")
    ('sleep current', 'lowest volts while cranking')
    """
    return NAMES.get(quantity, quantity.replace("_", " "))


def figure(value: float, unit: str, quantity: str = "") -> str:
    """A value of a limited quantity in its base unit, as a person reads it.

    >>> from monitor.views.words import plain
    >>> [plain(figure(*pair)) for pair in ((0.34, "A"), (15.9, "V"), (5400.0, "s"), (12.0, "1/h"), (3.0, "1"))]
    ['340 mA', '15.90 V', '1 h 30 min', '12 an hour', '3']
    >>> plain(figure(2.5, "d")), plain(figure(2e8, "byte")), figure(0.42, "1", "state_of_charge")
    ('2.5 days', '200 MB', '42 %')
    """
    if quantity in SHARES:
        return f"{value * 100:.0f} %"
    if unit in _FIGURES:
        return _FIGURES[unit](value)
    return f"{value:.3g}".replace("-", "−") + (f" {unit}" if unit not in ("", "1") else "")


def _size(value: float) -> str:
    return f"{value / 1e9:.3g} GB" if value >= 1e9 else f"{value / 1e6:.3g} MB"


_FIGURES = {
    "A": amps,
    "V": volts,
    "Ah": charge,
    "s": length,
    "d": lambda value: f"{value:.{1 if value < 9.95 else 0}f} days",
    "1/h": lambda value: f"{value:.3g} an hour",
    "mV/h": lambda value: f"{value:.3g} mV an hour",
    "byte": _size,
}
