"""A rules file as a person writes it: what its keys are. What they mean for a vehicle is `resolve`'s.

A file may hold only what differs from the one it extends, so hardly any key is required here, and a setpoint's unit
cannot be checked before it is known which quantity the limit is on.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    Field,
    GetJsonSchemaHandler,
    StringConstraints,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError

from monitor.base.alarms import Priority
from monitor.base.quantities import QuantitySeconds, QuantityVolts
from monitor.base.tables.strict import Above, Name, NotNegative, Strict
from monitor.base.vehicle import NOMINAL_V, BatteryKind
from monitor.limits.quantities import QUANTITIES

LIMIT_NAME = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?")
MOST_LIMITS = 100  # our choice: nobody can keep more in mind for one vehicle
MOST_ROWS = 40  # of a table of setpoints; our choice
LONGEST_S = 400 * 86400.0  # of a delay or window: as long as samples are kept

Text = Annotated[str, StringConstraints(min_length=1, max_length=1000, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
Written = Annotated[
    str | int,
    BeforeValidator(lambda value: _written(value)),
    Field(examples=["35 mA", "12.4 V", "12 per h", 2]),
]
Kind = Literal["flooded", "efb", "agm", "gel", "lifepo4", "unknown"]
Per = Literal["cell", "6 V", "12 V", "24 V"]


def _written(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise PydanticCustomError("setpoint", 'expected a value with its unit in quotes, as "35 mA", or a whole count')
    if isinstance(value, str) and not 0 < len(value) <= 60:
        raise PydanticCustomError("setpoint", 'expected a value with its unit in quotes, as "35 mA"')
    if isinstance(value, int) and not -(10**6) < value < 10**6:
        raise PydanticCustomError("setpoint", "expected a smaller count")
    return value


def _not_for_ever(seconds: float) -> float:
    if seconds > LONGEST_S:
        raise PydanticCustomError("duration", "expected at most 400 d")
    return seconds


def _quantity(name: Any) -> Any:
    if not isinstance(name, str) or name not in QUANTITIES:
        raise PydanticCustomError("quantity", "expected a quantity that is known", {"known": list(QUANTITIES)})
    return name


def _limit_names(table: Any) -> Any:
    if isinstance(table, dict):
        for name in table:
            if not LIMIT_NAME.fullmatch(name):
                raise PydanticCustomError(
                    "limit_name", "expected small letters, digits and hyphens as the name of a limit", {"key": name}
                )
        if len(table) > MOST_LIMITS:
            raise PydanticCustomError("limits", f"expected at most {MOST_LIMITS} limits")
    return table


def _bare(value: Any) -> Any:
    """A plain value stands for a table with only that value."""
    return value if isinstance(value, dict | BaseModel) else {"value": _written(value)}


def _rows(table: Any) -> Any:
    if isinstance(table, dict) and not 0 < len(table) <= MOST_ROWS:
        raise PydanticCustomError("rows", f"expected 1 to {MOST_ROWS} rows")
    return table


Delay = Annotated[QuantitySeconds, NotNegative, AfterValidator(_not_for_ever)]
Window = Annotated[QuantitySeconds, Above, AfterValidator(_not_for_ever)]


class Setpoint(Strict):
    """A setpoint: one value, or what it depends on. The first that the vehicle file allows holds.

    per_reserve, per_capacity  proportional to the battery's reserve capacity ("0.25 mA per min"), its capacity
                 ("0.2 Ah per Ah")
    by_kind      by kind of battery
    value        for all others
    least, most  bounds of what the above give
    by_celsius   in place of `value` where the temperature is known: "-18 °C" = "8.5 V"; straight between rows
    per          the volts here are for a battery of this nominal voltage, or for one cell, and follow the vehicle's
    """

    value: Written | None = None
    per_reserve: Written | None = None
    per_capacity: Written | None = None
    by_kind: Annotated[dict[Kind, Written], BeforeValidator(_rows)] | None = None
    by_celsius: Annotated[dict[str, Written], BeforeValidator(_rows)] | None = None
    least: Written | None = None
    most: Written | None = None
    per: Per | None = None

    _bare_value = model_validator(mode="before")(_bare)

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """An editor is told that a plain value will do."""
        return {"anyOf": [{"type": "string"}, {"type": "integer"}, handler(core)]}

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        of_battery = [x for x in (self.per_reserve, self.per_capacity, self.by_kind) if x is not None]
        if not of_battery and self.value is None:
            raise PydanticCustomError("setpoint", "expected a value, by_kind, per_reserve or per_capacity")
        if self.by_celsius and (self.value is None or of_battery):
            raise PydanticCustomError(
                "setpoint", "expected by_celsius beside a value only, which holds where no temperature is known"
            )
        return self


class LimitTable(Strict):
    """A [limits.NAME] table; what is not said comes from the limit of that name in the file that is extended.

    deadband   in the unit of the quantity, or a share of the setpoint: "20 %"
    after      not judged until so long after the stand, or the drive, began
    window     time that quantities such as net_balance are taken over
    yields_to  limits that tell the same thing: while one of them is raised this one is quiet
    """

    quantity: Annotated[str, BeforeValidator(_quantity), Field(json_schema_extra={"enum": list(QUANTITIES)})] | None = (
        None
    )
    high: Setpoint | None = None
    low: Setpoint | None = None
    deadband: Written | None = None
    on_delay_s: Delay | None = Field(default=None, validation_alias="on_delay")
    off_delay_s: Delay | None = Field(default=None, validation_alias="off_delay")
    after_s: Delay | None = Field(default=None, validation_alias="after")
    window_s: Window | None = Field(default=None, validation_alias="window")
    priority: Priority | None = None
    latched: bool | None = None
    enabled: bool | None = None
    yields_to: Annotated[list[Name], Field(max_length=20)] | None = None
    cause: Text | None = None
    response: Text | None = None
    source: Text | None = None


class Fits(Strict):
    """Batteries the rules are written for; a list that is left out fits any, and without both it is not picked."""

    kind: list[Kind] | None = None
    nominal_v: list[QuantityVolts] | None = Field(default=None, validation_alias="nominal")

    @model_validator(mode="after")
    def _known_nominal(self) -> Self:
        if any(volts not in NOMINAL_V for volts in self.nominal_v or ()):
            raise PydanticCustomError("nominal", 'expected "6 V", "12 V" or "24 V"', {"key": "nominal"})
        return self

    @property
    def picked(self) -> bool:
        """Whether a preset is picked by it when no rules are named."""
        return self.kind is not None or self.nominal_v is not None

    def battery(self, kind: BatteryKind | None, nominal_v: float) -> bool:
        """Whether they are written for a battery of that kind and nominal voltage."""
        return (self.kind is None or (kind or "unknown") in self.kind) and (
            self.nominal_v is None or nominal_v in self.nominal_v
        )


class RulesFile(Strict):
    """A rules file.

    about    one line for the list of presets
    extends  a preset's name, or the path of another file, relative to this one
    fits     batteries it is written for; a preset is picked by it when no rules are named
    """

    about: Text | None = None
    extends: Name | None = None
    fits: Fits | None = None
    limits: Annotated[dict[str, LimitTable], BeforeValidator(_limit_names)] = Field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RulesText:
    """A rules file as read: a preset's name or a path, its path for messages, its text, and what it says."""

    name: str
    place: str
    text: str
    file: RulesFile
