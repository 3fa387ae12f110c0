"""Quantities that only a scenario needs: shares, resistances, rates and temperatures, read as in settings files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from monitor.base.quantities import Dimension, parse_quantity

SHARE = Dimension("a share", "dimensionless", "85 %")
RESISTANCE = Dimension("a resistance", "ohm", "6 mohm")
RATE = Dimension("a rate", "Hz", "10 Hz")
CELSIUS = Dimension("a temperature", "delta_degC", "8 degC")  # as a difference: a plain factor, °C only


@dataclass(frozen=True, slots=True)
class _Read:
    """pydantic validator: text with a unit, or a bare number in Python code (in a file only where it has no unit)."""

    dimension: Dimension

    def __call__(self, value: Any, info: ValidationInfo) -> Any:
        expected = f'{self.dimension.word} with its unit, as "{self.dimension.example}"'
        if isinstance(value, str):
            try:
                return self._parse(value)
            except ValueError as wrong:
                raise PydanticCustomError(
                    "quantity", "expected {expected}: {why}", {"expected": expected, "why": str(wrong)}
                ) from wrong
        written = bool(info.context and info.context.get("written"))
        if written or isinstance(value, bool) or not isinstance(value, int | float):
            raise PydanticCustomError("quantity", "expected {expected}", {"expected": expected})
        return value

    def _parse(self, text: str) -> float:
        if self.dimension is CELSIUS:
            for unit in ("degC", "°C"):
                text = text.replace(unit, "delta_degC") if unit in text and "delta" not in text else text
            number, _, unit = text.strip().partition(" ")
            if unit.strip() != "delta_degC":
                raise ValueError("its unit must be degC")
            return float(number)
        return parse_quantity(text, self.dimension)


Share = Annotated[float, BeforeValidator(_Read(SHARE))]
Fraction = Annotated[float, BeforeValidator(_Read(SHARE)), Field(ge=0, le=1)]
Ohms = Annotated[float, BeforeValidator(_Read(RESISTANCE)), Field(ge=0)]
Hertz = Annotated[float, BeforeValidator(_Read(RATE)), Field(gt=0)]
Celsius = Annotated[float, BeforeValidator(_Read(CELSIUS))]
