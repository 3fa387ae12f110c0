"""What a channel of an instrument has in common, however it is asked: the unit of its figures and their direction."""

from __future__ import annotations

from typing import Literal, TypeVar

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError

from monitor.base.quantities import CURRENT, VOLTAGE, check_unit
from monitor.base.tables.strict import Strict

CELSIUS_UNITS = ("°C", "C", "degC", "Cel", "°F", "F", "degF", "K")


class Figure(Strict):
    """How the figures of a channel are written.

    unit      of the figures, as "mA"; None: V, A, °C
    positive  the direction of current that the instrument writes as positive; amps only
    """

    unit: str | None = None
    positive: Literal["charge", "discharge"] | None = None


F = TypeVar("F", bound=Figure)


def _without_direction(figure: Figure) -> None:
    if figure.positive is not None:
        raise PydanticCustomError("direction", "expected no direction here: it belongs to amps", {"key": "positive"})


def _volts(figure: F) -> F:
    check_unit(figure.unit, VOLTAGE)
    _without_direction(figure)
    return figure


def _amps(figure: F) -> F:
    check_unit(figure.unit, CURRENT)
    return figure


def _celsius(figure: F) -> F:
    if figure.unit is not None and figure.unit not in CELSIUS_UNITS:
        raise PydanticCustomError("unit", 'expected the unit of a temperature, "°C", "°F" or "K"', {"key": "unit"})
    _without_direction(figure)
    return figure


AreVolts = AfterValidator(_volts)
AreAmps = AfterValidator(_amps)
AreCelsius = AfterValidator(_celsius)
