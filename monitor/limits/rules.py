"""Limits as resolved for one vehicle: plain numbers in base units, ready to be judged."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from pydantic import TypeAdapter, ValidationError

from monitor.base.alarms import Priority
from monitor.limits.quantities import Side


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit, resolved for one vehicle.

    name         as in the rules file
    high, low    setpoints in `unit`; None: that side is not limited, or not where so little is known of the vehicle
    by_celsius   (°C, value) rows in place of the setpoint, rising in °C; straight between rows, ends held. Only with
                 one side, whose plain setpoint holds where the temperature is not known
    deadband     high returns at high − deadband, low at low + deadband
    on_delay_s, off_delay_s
                 how long the setpoint must stay passed before it is raised, and not passed before it returns
    after_s      not judged until so long after the stand (or, with the engine running, the drive) began
    window_s     of the quantities taken over a window
    latched      stays until acknowledged although an event is over
    yields_to    limits of these rules: while one of them is raised this one is suppressed by design, since it would
                 tell the same thing again
    basis        what of the vehicle the setpoint rests on, a sentence; empty when it holds for any
    """

    name: str
    quantity: str
    unit: str
    high: float | None
    low: float | None
    priority: Priority
    cause: str
    response: str
    source: str
    by_celsius: tuple[tuple[float, float], ...] = ()
    deadband: float = 0.0
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0
    after_s: float = 0.0
    window_s: float | None = None
    latched: bool = False
    enabled: bool = True
    yields_to: tuple[str, ...] = ()
    basis: str = ""

    def setpoint(self, side: Side, celsius: float | None) -> float | None:
        """The setpoint of `side` at that temperature; None where the side is not limited.

        >>> rows = ((-18.0, 8.5), (-12.0, 8.7))
        >>> crank = Limit("crank", "crank_volts_min", "V", None, 9.6, "low", "", "", "", by_celsius=rows)
        >>> crank.setpoint("low", -15.0), crank.setpoint("low", -30.0), crank.setpoint("low", None)
        (8.6, 8.5, 9.6)
        """
        plain = self.high if side == "high" else self.low
        if plain is None or celsius is None or celsius != celsius or not self.by_celsius:  # not itself: NaN
            return plain
        rows = self.by_celsius
        if celsius <= rows[0][0]:
            return rows[0][1]
        for (cold, lower), (warm, upper) in pairwise(rows):
            if celsius <= warm:
                return round(lower + (upper - lower) * (celsius - cold) / (warm - cold), 9)
        return rows[-1][1]


@dataclass(frozen=True, slots=True)
class Rules:
    """The limits of one vehicle, in the order of their file.

    remarks  what a person should know about them and this vehicle, a sentence each
    """

    name: str
    about: str
    limits: tuple[Limit, ...]
    remarks: tuple[str, ...] = ()


_RULES = TypeAdapter(Rules)


def rules_text(rules: Rules) -> str:
    """The rules as JSON, as they travel in an order and a snapshot."""
    return _RULES.dump_json(rules).decode()


def rules_json(rules: Rules) -> dict[str, Any]:
    """The same as plain data."""
    return dict(_RULES.dump_python(rules, mode="json"))


def rules_from(text: str) -> Rules:
    """Rules from what `rules_text` wrote; raises ValueError when it is nothing of the kind."""
    try:
        return _RULES.validate_json(text)
    except ValidationError as wrong:
        raise ValueError(f"not rules: {wrong.errors()[0]['msg']}") from wrong
