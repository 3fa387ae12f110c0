"""The vehicle as its owner describes it: battery, log columns, rules preset. Plain numbers in base units.

The file says `nominal = "12 V"`, the program reads `nominal_v`: a field's alias is its key in the file.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BaseModel, BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from monitor.base.quantities import (
    CURRENT,
    VOLTAGE,
    Dimension,
    QuantityAmpHours,
    QuantityAmps,
    QuantitySeconds,
    QuantityVolts,
    check_unit,
)
from monitor.base.tables.broker import BrokerTable
from monitor.base.tables.database import DatabaseTable
from monitor.base.tables.instrument import InstrumentTable
from monitor.base.tables.notices import NoticesTable
from monitor.base.tables.source import SourceTable
from monitor.base.tables.store import StoreTable
from monitor.base.tables.strict import Above, Name, NotNegative, Strict

BatteryKind = Literal["flooded", "efb", "agm", "gel", "lifepo4"]
CrankingStandard = Literal["SAE", "EN", "IEC", "DIN", "JIS"]
NOMINAL_V = (6.0, 12.0, 24.0)
CELSIUS_UNITS = ("°C", "C", "degC", "Cel", "°F", "F", "degF", "K")


def _nominal(volts: float) -> float:
    if volts not in NOMINAL_V:
        raise PydanticCustomError("nominal", 'expected a nominal voltage of "6 V", "12 V" or "24 V"')
    return volts


def _zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as unknown:  # OSError: a folder of the zone database, as "Europe"
        raise PydanticCustomError(
            "zone", 'expected a time zone, as "Europe/Oslo" or "UTC"', {"known": sorted(available_timezones())}
        ) from unknown
    return name


def _column(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, str | int) or value == "":
        raise PydanticCustomError("column", "expected the name of a column, or its number counted from 1")
    if isinstance(value, int) and value < 1:
        raise PydanticCustomError("column", "expected a column number counted from 1")
    return value


def _bare_column(value: Any) -> Any:
    """A plain name or number stands for a table with only that column."""
    if isinstance(value, dict | BaseModel):
        return value
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise PydanticCustomError("column", "expected a column's name, its number counted from 1, or a table")
    return {"column": value}


ColumnName = Annotated[str | int, BeforeValidator(_column)]
Zone = Annotated[str, AfterValidator(_zone)]


class Battery(Strict):
    """Battery facts; None where the owner has not said.

    capacity_ah         at the 20 h rate
    cold_cranking_a     as printed on the battery, under `cranking_standard`; never converted to another standard
    reserve_s           reserve capacity: how long the battery gives 25 A
    """

    kind: BatteryKind | None = None
    nominal_v: Annotated[QuantityVolts, AfterValidator(_nominal)] = Field(
        default=12.0, validation_alias="nominal", json_schema_extra={"default": "12 V"}
    )
    capacity_ah: Annotated[QuantityAmpHours, Above] | None = Field(default=None, validation_alias="capacity")
    cold_cranking_a: Annotated[QuantityAmps, Above] | None = Field(default=None, validation_alias="cold_cranking")
    cranking_standard: CrankingStandard | None = Field(default=None, validation_alias="standard")
    reserve_s: Annotated[QuantitySeconds, Above] | None = Field(default=None, validation_alias="reserve")

    @model_validator(mode="after")
    def _standard_goes_with_a_number(self) -> Self:
        if self.cranking_standard is not None and self.cold_cranking_a is None:
            raise PydanticCustomError("standard", "expected cold_cranking beside its standard", {"key": "standard"})
        return self


class Column(Strict):
    """Where a channel of the log is found, when the header does not say it.

    column      name in the header, or number counted from 1
    unit        unit of the figures, as "mA"
    positive    which direction of current the logger writes as positive; amps only
    """

    column: ColumnName | None = None
    unit: str | None = None
    positive: Literal["charge", "discharge"] | None = None

    _bare = model_validator(mode="before")(_bare_column)


class TimeColumn(Strict):
    """Where the time of a row is found; `zone` is the IANA zone of times written without one."""

    column: ColumnName | None = None
    zone: Zone | None = None

    _bare = model_validator(mode="before")(_bare_column)


def _unit_of(dimension: Dimension) -> Callable[[Column], Column]:
    def check(column: Column) -> Column:
        check_unit(column.unit, dimension)
        return column

    return check


def _unit_of_temperature(column: Column) -> Column:
    if column.unit is not None and column.unit not in CELSIUS_UNITS:
        raise PydanticCustomError("unit", 'expected the unit of a temperature, "°C", "°F" or "K"', {"key": "unit"})
    return column


def _no_direction(column: Column) -> Column:
    if column.positive is not None:
        raise PydanticCustomError("direction", "expected no direction here: it belongs to amps", {"key": "positive"})
    return column


class LogSettings(Strict):
    """The [log] table: only what the header of the log does not say.

    zero_offset_a   how far the logger's zero may be off, ± A
    gap_s           an interval between samples longer than this is a gap; None: judged from its neighbours
    """

    volts: Annotated[Column, AfterValidator(_unit_of(VOLTAGE)), AfterValidator(_no_direction)] = Column()
    amps: Annotated[Column, AfterValidator(_unit_of(CURRENT))] = Column()
    celsius: Annotated[Column, AfterValidator(_unit_of_temperature), AfterValidator(_no_direction)] = Column()
    time: TimeColumn = TimeColumn()
    zero_offset_a: Annotated[QuantityAmps, NotNegative] = Field(
        default=0.0, validation_alias="zero_offset", json_schema_extra={"default": "0 A"}
    )
    gap_s: Annotated[QuantitySeconds, Above] | None = Field(default=None, validation_alias="gap")


class VehicleTable(Strict):
    """The [vehicle] table: `rules`, a preset or a path; `cylinders` of the engine, to tell its cranking speed."""

    rules: Name | None = None
    cylinders: Annotated[int, Field(ge=1, le=16)] | None = None


class Vehicle(Strict):
    """The vehicle file."""

    name: Name = "unnamed"
    battery: Battery = Battery()
    log: LogSettings = LogSettings()
    vehicle: VehicleTable = VehicleTable()
    source: SourceTable | None = None
    instrument: InstrumentTable | None = None
    store: StoreTable = StoreTable()
    notices: NoticesTable = NoticesTable()
    database: DatabaseTable | None = None
    broker: BrokerTable | None = None

    @property
    def rules(self) -> str | None:
        """The preset or path that the [vehicle] table names."""
        return self.vehicle.rules
