"""The quantities that a limit may be set on: name, unit, when each is judged, and how a person writes it.

A believable range is the one within which a setpoint may lie; outside it a unit or a sign is most likely mistaken. With
`per_nominal` the range is that of a 12 V battery, and follows the nominal voltage. All ranges are our choice: wide
enough for any road vehicle, narrow enough to catch volts for millivolts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from monitor.base.quantities import CAPACITY, CURRENT, DURATION, SIZE, VOLTAGE, Dimension, parse_quantity

Judged = Literal["second", "minute", "event", "hour", "service"]
Side = Literal["high", "low"]

DAYS = Dimension("a duration", "d", "14 d")
SHARE = Dimension("a share", "", "70 %")
RISE = Dimension("a rise", "%", "50 %")
SLOPE = Dimension("a slope", "mV/h", "12 mV/h")
RIPPLE = Dimension("a voltage", "mV", "100 mV")
COUNT = Dimension("a count", "1", "3")
RATE = Dimension("a rate", "1/h", "12 per h")

HIGH: tuple[Side, ...] = ("high",)
LOW: tuple[Side, ...] = ("low",)
BOTH: tuple[Side, ...] = ("high", "low")


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity.

    name         as in rules files
    unit         base unit of values and setpoints: A, V, s, Ah, 1/h, mV/h, d, mV, byte, %, or 1 for a share or a count
    judged       when it is looked at: with each second, minute, hour, at the event itself, or by the service
    meaning      one sentence
    low, high    believable range of a setpoint, in `unit`
    sides        which setpoints make sense
    dimension    how a person writes it
    example      of a setpoint
    windowed     it is taken over the limit's `window`
    trails       it still holds what is over: a limit on it yields for a day to what was told
    pauses       it is seen now and then only, so its delay runs on where it stopped: see PAUSE_MOST_US in alarm.py
    per_nominal  the believable range is for 12 V and follows the nominal voltage
    """

    name: str
    unit: str
    judged: Judged
    meaning: str
    low: float
    high: float
    sides: tuple[Side, ...]
    dimension: Dimension
    example: str
    windowed: bool = False
    pauses: bool = False
    trails: bool = False
    per_nominal: bool = False

    def read(self, value: Any) -> float:
        """The setpoint that a person wrote, in `unit`; raises ValueError saying what is wrong with it.

        >>> QUANTITIES["sleep_current"].read("35 mA"), QUANTITIES["wake_up_rate"].read("12 per h")
        (0.035, 12.0)
        >>> QUANTITIES["state_of_charge"].read("70 %"), QUANTITIES["failed_starts"].read(2)
        (0.7, 2.0)
        """
        if self.dimension is COUNT:
            if isinstance(value, bool) or not isinstance(value, int):
                raise ValueError("a count is a whole number without quotes")
            return float(value)
        if not isinstance(value, str):
            raise ValueError("its unit is missing")
        if self.dimension is RATE:
            number, per, each = value.partition(" per ")
            if not per:
                raise ValueError('"per" is missing')
            return float(f"{_count(number) / parse_quantity(f'1 {each.strip()}', _HOURS):.12g}")
        if self.dimension is SHARE:
            return parse_quantity(value, _RATIO)
        return parse_quantity(value, self.dimension)

    def write(self, value: float) -> str:
        """The value as a person would write it in a rules file.

        >>> q = QUANTITIES
        >>> q["sleep_current"].write(0.035), q["days_to_no_start"].write(2.0), q["time_to_sleep"].write(5400.0)
        ('35 mA', '2 d', '90 min')
        >>> q["state_of_charge"].write(0.7), q["wake_up_rate"].write(12.0), q["disk_free"].write(5e8)
        ('70 %', '12 per h', '500 MB')
        """
        if self.dimension is COUNT:
            return f"{value:g}"
        if self.dimension is RATE:
            return f"{value:g} per h"
        if self.dimension is SHARE:
            return f"{value * 100:g} %"
        pairs = LARGER.get(self.unit, ((1.0, self.unit),))
        factor, unit = next((pair for pair in pairs if _reads_well(value / pair[0], self.unit == "s")), pairs[-1])
        return f"{value / factor:.6g} {unit}"


# Units in which a value is written, the first that gives a number without many zeros or digits, else the last.
LARGER: dict[str, tuple[tuple[float, str], ...]] = {
    "A": ((1.0, "A"), (0.001, "mA")),
    "s": ((86400.0, "d"), (3600.0, "h"), (60.0, "min"), (1.0, "s")),
    "byte": ((1e9, "GB"), (1e6, "MB")),
}


def _reads_well(number: float, whole: bool) -> bool:
    return abs(number) >= 1 and (number == round(number) if whole else float(f"{number:.3g}") == float(f"{number:.9g}"))


_HOURS = Dimension("a duration", "h", "1 h")
_RATIO = Dimension("a share", "dimensionless", "70 %")


def _count(text: str) -> float:
    return parse_quantity(f"{text} h", _HOURS)


def _table(*rows: Quantity) -> dict[str, Quantity]:
    return {row.name: row for row in rows}


HOUR = 3600.0
DAY = 86400.0

QUANTITIES: dict[str, Quantity] = _table(
    Quantity(
        "volts", "V", "second",
        "Volts at the posts, mean of a second, at any time.",
        1.0, 30.0, BOTH, VOLTAGE, "16 V", per_nominal=True,
    ),
    Quantity(
        "charging_volts", "V", "minute",
        "Median volts of the last minute with the engine running; of the pulses, where it charges in pulses.",
        10.0, 18.0, BOTH, VOLTAGE, "14.8 V", pauses=True, per_nominal=True,
    ),
    Quantity(
        "charging_delay", "s", "minute",
        "How long after the crank charging began; known once it has.",
        1.0, HOUR, HIGH, DURATION, "1 min",
    ),
    Quantity(
        "uncharged", "s", "minute",
        "How long the engine has been running without any sign of charging.",
        60.0, 4 * HOUR, HIGH, DURATION, "20 min",
    ),
    Quantity(
        "charging_unsteady", "s", "minute",
        "How long the charging voltage has hunted in this drive, if that is a third of it or more.",
        60.0, HOUR, HIGH, DURATION, "3 min",
    ),
    Quantity(
        "ripple", "mV", "hour",
        "Peak-to-peak volts within a second while charging, median of the drive.",
        5.0, 5000.0, HIGH, RIPPLE, "283 mV",
    ),
    Quantity(
        "sleep_current", "A", "minute",
        "Drain at which the vehicle sleeps now.",
        0.0001, 20.0, HIGH, CURRENT, "50 mA",
    ),
    Quantity(
        "standing_current", "A", "minute",
        "Lower envelope of the drain while standing, also if it never falls asleep.",
        0.0001, 50.0, HIGH, CURRENT, "200 mA",
    ),
    Quantity(
        "mean_night_current", "A", "minute",
        "Mean drain since it fell asleep, wake-ups and all.",
        0.0001, 20.0, HIGH, CURRENT, "75 mA", trails=True,
    ),
    Quantity(
        "time_to_sleep", "s", "minute",
        "Time from key-off to the first sleep plateau; counts up until it comes.",
        10.0, DAY, HIGH, DURATION, "90 min",
    ),
    Quantity(
        "wake_up_rate", "1/h", "minute",
        "Wake-ups an hour over the window.",
        0.01, 1000.0, HIGH, RATE, "12 per h", windowed=True,
    ),
    Quantity(
        "wake_up_length", "s", "minute",
        "How long the wake-up lasts that is going on.",
        5.0, DAY, HIGH, DURATION, "45 min",
    ),
    Quantity(
        "wake_up_charge", "Ah", "event",
        "Charge that one wake-up cost.",
        0.0001, 100.0, HIGH, CAPACITY, "0.1 Ah",
    ),
    Quantity(
        "night_charge", "Ah", "minute",
        "Charge out of the battery since the stand began.",
        0.01, 500.0, HIGH, CAPACITY, "5 Ah", trails=True,
    ),
    Quantity(
        "days_to_no_start", "d", "hour",
        "Days until the battery may no longer crank, at the drain of this stand.",
        0.1, 400.0, LOW, DAYS, "2 d",
    ),
    Quantity(
        "rest_volts", "V", "hour",
        "Rest voltage, settled or nearly so.",
        8.0, 15.0, BOTH, VOLTAGE, "12.4 V", per_nominal=True,
    ),
    Quantity(
        "decay", "mV/h", "hour",
        "Fall of the rest voltage, relaxation left out.",
        0.1, 1000.0, HIGH, SLOPE, "10 mV/h", trails=True,
    ),
    Quantity(
        "state_of_charge", "1", "hour",
        "State of charge, from the rest voltage and the charge counted since.",
        0.05, 0.99, LOW, SHARE, "60 %", trails=True,
    ),
    Quantity(
        "crank_volts_min", "V", "event",
        "Volts under the starter's steady load; of a slow logger its lowest reading.",
        2.0, 13.0, LOW, VOLTAGE, "9 V", per_nominal=True,
    ),
    Quantity(
        "crank_duration", "s", "event",
        "How long the starter turned until the engine ran.",
        0.2, 60.0, HIGH, DURATION, "3 s",
    ),
    Quantity(
        "failed_starts", "1", "event",
        "Cranks of this stand that no running engine followed.",
        1.0, 50.0, HIGH, COUNT, "2",
    ),
    Quantity(
        "net_balance", "Ah", "hour",
        "Charge in less charge out over the window; below zero: more out than in.",
        -500.0, 500.0, BOTH, CAPACITY, "-15 Ah", windowed=True, trails=True,
    ),
    Quantity(
        "resistance_rise", "%", "hour",
        "Cranking resistance above this vehicle's own baseline, both at 25 °C.",
        5.0, 500.0, HIGH, RISE, "50 %",
    ),
    Quantity(
        "logger_silence", "s", "second",
        "How long the logger has said nothing.",
        5.0, 7 * DAY, HIGH, DURATION, "15 min",
    ),
    Quantity(
        "gap_share", "1", "hour",
        "Share of the window that was not observed.",
        0.001, 0.99, HIGH, SHARE, "10 %", windowed=True, trails=True,
    ),
    Quantity(
        "clock_step", "s", "event",
        "Size of a step of the logger's clock, either way.",
        1.0, 3650 * DAY, HIGH, DURATION, "1 min",
    ),
    Quantity(
        "disk_free", "byte", "service",
        "Free space where the journal is kept.",
        1e6, 1e13, LOW, SIZE, "500 MB",
    ),
    Quantity(
        "clock_unset", "s", "service",
        "How long this computer's clock has not been set from a time source.",
        1.0, 400 * DAY, HIGH, DURATION, "1 h",
    ),
    Quantity(
        "notices_waiting", "s", "service",
        "Age of the oldest notice that could not be delivered.",
        10.0, 400 * DAY, HIGH, DURATION, "1 h",
    ),
)  # fmt: skip
