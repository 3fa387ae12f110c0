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
