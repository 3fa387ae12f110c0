"""The [instrument] table: an instrument that is asked for its readings, rather than one that speaks by itself."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from monitor.base.quantities import QuantitySeconds
from monitor.base.tables.modbus import ModbusTable
from monitor.base.tables.scpi import ScpiTable
from monitor.base.tables.strict import Above, Strict

FASTEST_S = 0.02  # our choice: no instrument of these kinds answers more often


def _not_too_fast(seconds: float) -> float:
    if seconds < FASTEST_S:
        raise PydanticCustomError("rate", "expected 20 ms or more")
    return seconds


class InstrumentTable(Strict):
    """How often an instrument is asked, how long it may take to answer, and what it is asked.

    every_s     between two readings
    deadline_s  an answer that takes longer is given up; a slow meter on a long integration needs more
    """

    every_s: Annotated[QuantitySeconds, AfterValidator(_not_too_fast)] = Field(
        default=1.0, validation_alias="every", json_schema_extra={"default": "1 s"}
    )
    deadline_s: Annotated[QuantitySeconds, Above] = Field(
        default=3.0, validation_alias="deadline", json_schema_extra={"default": "3 s"}
    )
    modbus: ModbusTable | None = None
    scpi: ScpiTable | None = None
