"""The vehicle as its owner describes it: battery, log columns, rules preset. Plain numbers in base units."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

BatteryKind = Literal["flooded", "efb", "agm", "gel", "lifepo4"]


class Strict(BaseModel):
    """A part of a settings file: unknown keys are refused, values are frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Battery(Strict):
    """Battery facts; None where the owner has not said."""

    kind: BatteryKind | None = None
    nominal_v: float = 12.0
    capacity_ah: float | None = None


class Column(Strict):
    """Where a channel of the log is found, when the header does not say it.

    column      name in the header, or number counted from 1
    unit        unit of the figures, as "mA"
    positive    which direction of current the logger writes as positive
    """

    column: str | int | None = None
    unit: str | None = None
    positive: Literal["charge", "discharge"] | None = None


class TimeColumn(Strict):
    """Where the time of a row is found; `zone` is the IANA zone of times written without one."""

    column: str | int | None = None
    zone: str | None = None


class LogSettings(Strict):
    """The [log] table: only what the header of the log does not say."""

    volts: Column = Column()
    amps: Column = Column()
    celsius: Column = Column()
    time: TimeColumn = TimeColumn()
    zero_offset_a: float = 0.0
    gap_s: float | None = None


class Vehicle(Strict):
    """The vehicle file."""

    name: str = "unnamed"
    battery: Battery = Battery()
    log: LogSettings = Field(default=LogSettings())
    rules: str | None = None
