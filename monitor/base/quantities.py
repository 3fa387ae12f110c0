"""Quantities as a person writes them in a settings file, "35 mA" or "4 h", turned into plain numbers in base units.

The number is read by `float` and the unit by pint; an expression such as "2**9 V" is refused, never evaluated. A bare
number in a settings file is refused because nobody can see its unit; in Python code the attribute's name carries it, so
a number passes there. Loading with `context=WRITTEN` tells the two apart.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator, ValidationInfo, WithJsonSchema
from pydantic_core import PydanticCustomError

if TYPE_CHECKING:
    import pint

WRITTEN = {"written": True}  # validation context of a value that a person wrote in a settings file

NUMBER_AND_UNIT = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(.*?)\s*", re.ASCII | re.DOTALL)
UNIT_TEXT = re.compile(r"[A-Za-zµμΩΩ°%]+(?:\s*[·*/ ]\s*[A-Za-zµμΩΩ°%]+)*")  # names, products and ratios; no powers


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity: the word for it, its base unit in pint's spelling, and an example to show."""

    word: str
    unit: str
    example: str


VOLTAGE = Dimension("a voltage", "V", "12 V")
CURRENT = Dimension("a current", "A", "35 mA")
CAPACITY = Dimension("a capacity", "Ah", "70 Ah")
DURATION = Dimension("a duration", "s", "4 h")
SIZE = Dimension("a size", "byte", "500 MB")

# What nearly every file is written in: pint, which takes 150 ms and some MiB, is asked about the rest.
USUAL = {
    ("mV", "V"): 1e-3,
    ("mA", "A"): 1e-3,
    ("min", "s"): 60.0,
    ("h", "s"): 3600.0,
    ("d", "s"): 86_400.0,
    ("MB", "byte"): 1e6,
    ("GB", "byte"): 1e9,
    ("%", "dimensionless"): 0.01,
}


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint  # imported here: it costs 150 ms, and only a settings file needs it

    return pint.UnitRegistry()


def unit_factor(unit: str, dimension: Dimension) -> float:
    """Factor from `unit` to the base unit of `dimension`; raises ValueError when it is no such unit.

    >>> unit_factor("mA", CURRENT), unit_factor("h", DURATION)
    (0.001, 3600.0)
    """
    usual = 1.0 if unit == dimension.unit else USUAL.get((unit, dimension.unit))
    if usual is not None:
        return usual
    if not UNIT_TEXT.fullmatch(unit):
        raise ValueError(f'"{unit}" is not a unit')
    return _asked(unit, dimension)


def _asked(unit: str, dimension: Dimension) -> float:
    """The same, of any unit that pint knows."""
    import pint

    registry = _registry()
    try:
        factor = registry.Quantity(1.0, registry.parse_units(unit)).to(dimension.unit).magnitude
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, OverflowError) as wrong:
        raise ValueError(f'"{unit}" is not a unit of {dimension.word.split()[-1]}') from wrong
    return float(f"{factor:.12g}")  # 0.001 and not 0.0010000000000000002


def check_unit(unit: str | None, dimension: Dimension) -> None:
    """Nothing where `unit` is one of `dimension` or not said; for validators, whose error names the key "unit"."""
    if unit is None:
        return
    try:
        unit_factor(unit, dimension)
    except ValueError as wrong:
        raise PydanticCustomError(
            "unit",
            'expected the unit of {word}, as "{unit}" or "m{unit}"',
            {"word": dimension.word, "unit": dimension.unit, "key": "unit"},
        ) from wrong


def parse_quantity(text: str, dimension: Dimension) -> float:
    """Value of `text` in the base unit of `dimension`; raises ValueError saying what is wrong with it.

    >>> parse_quantity("35 mA", CURRENT), parse_quantity("110 min", DURATION)
    (0.035, 6600.0)
    """
    found = NUMBER_AND_UNIT.fullmatch(text)
    if found is None:
        raise ValueError("it does not begin with a number")
    if found[2].startswith(","):
        raise ValueError("write a decimal point, not a comma")
    if not found[2]:
        raise ValueError("its unit is missing")
    value = float(found[1]) * unit_factor(found[2], dimension)
    if not math.isfinite(value):
        raise ValueError("the number is too large")
    return float(f"{value:.12g}")


@dataclass(frozen=True, slots=True)
class ReadQuantity:
    """pydantic validator for one dimension; raises PydanticCustomError naming what was expected."""

    dimension: Dimension

    def __call__(self, value: Any, info: ValidationInfo) -> Any:
        """The value in the base unit: of text, or in Python code the number itself."""
        example = f'{self.dimension.word} with its unit, as "{self.dimension.example}"'
        if isinstance(value, str):
            try:
                return parse_quantity(value, self.dimension)
            except ValueError as wrong:
                raise PydanticCustomError(
                    "quantity", "expected {expected}: {why}", {"expected": example, "why": str(wrong)}
                ) from wrong
        written = bool(info.context and info.context.get("written"))
        if written or isinstance(value, bool) or not isinstance(value, int | float):
            raise PydanticCustomError("quantity", "expected {expected}", {"expected": example})
        return value


def _schema(dimension: Dimension) -> WithJsonSchema:
    return WithJsonSchema(
        {
            "type": "string",
            "description": f"{dimension.word} with its unit",
            "pattern": r"^\s*[+-]?[0-9.]+([eE][+-]?[0-9]+)?\s*[^0-9\s].*$",
            "examples": [dimension.example],
        }
    )


QuantityVolts = Annotated[float, BeforeValidator(ReadQuantity(VOLTAGE)), _schema(VOLTAGE)]
QuantityAmps = Annotated[float, BeforeValidator(ReadQuantity(CURRENT)), _schema(CURRENT)]
QuantityAmpHours = Annotated[float, BeforeValidator(ReadQuantity(CAPACITY)), _schema(CAPACITY)]
QuantitySeconds = Annotated[float, BeforeValidator(ReadQuantity(DURATION)), _schema(DURATION)]
QuantityBytes = Annotated[float, BeforeValidator(ReadQuantity(SIZE)), _schema(SIZE)]
