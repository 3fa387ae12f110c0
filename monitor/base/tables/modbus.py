"""The [instrument.modbus] table: which registers hold what (Modbus Application Protocol V1.1b3, FC 03 and 04)."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, FiniteFloat, model_validator
from pydantic_core import PydanticCustomError

from monitor.base.tables.channel import AreAmps, AreCelsius, AreVolts, Figure
from monitor.base.tables.strict import Strict

Device = Annotated[int, Field(ge=0, le=255)]
Order = Literal["big", "little"]
RegisterType = Literal["int16", "uint16", "int32", "uint32", "int64", "uint64", "float32", "float64"]
HIGHEST = 0xFFFF  # address of the last register


class Register(Figure):
    """One channel's registers.

    address   of the first register as it goes over the wire, counted from 0: what a manual calls 40001 or 30001 is 0
    table     which of the device's two tables of registers
    kind      of the number
    words     "big": the high word comes first; its order is not standardised
    bytes     within a word; the standard says "big"
    scale, offset   figure = raw × scale + offset, in `unit`
    overload  raw numbers by which the device says that the reading is out of its range
    device    unit identifier, where it is another than the table's
    """

    address: Annotated[int, Field(ge=0, le=HIGHEST)]
    table: Literal["holding", "input"] = "holding"
    kind: RegisterType = Field(default="uint16", validation_alias="type")
    words: Order = "big"
    bytes: Order = "big"
    scale: FiniteFloat = 1.0
    offset: FiniteFloat = 0.0
    overload: tuple[int, ...] = ()
    device: Device | None = None

    @property
    def count(self) -> int:
        """How many registers the number takes."""
        return int(self.kind[-2:]) // 16

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.address + self.count - 1 > HIGHEST:
            raise PydanticCustomError("address", f"expected an address of at most {HIGHEST + 1 - self.count}")
        if self.scale == 0:
            raise PydanticCustomError("scale", "expected another scale than zero", {"key": "scale"})
        return self


class ModbusTable(Strict):
    """The register map. Nothing is ever written to the device.

    device             unit identifier of the device; 1 to 247 on a serial line
    parity, stop_bits  of the serial line; the standard's default is even parity and one stop bit
    """

    volts: Annotated[Register, AreVolts] | None = None
    amps: Annotated[Register, AreAmps] | None = None
    celsius: Annotated[Register, AreCelsius] | None = None
    device: Device = 1
    parity: Literal["none", "even", "odd"] = "even"
    stop_bits: Literal[1, 2] = 1

    @model_validator(mode="after")
    def _has_volts(self) -> Self:
        if self.volts is None:
            raise PydanticCustomError(
                "channel", "expected the register of the volts: nothing is judged without them", {"key": "volts"}
            )
        return self
