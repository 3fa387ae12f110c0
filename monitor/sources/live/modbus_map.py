"""Registers → figures: which requests fetch a register map, and what their words mean. Pure, but for the library."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.base.tables.modbus import ModbusTable, Register
from monitor.sources.rows import CHANNELS, OVERLOAD_FIGURE

MOST = 125  # registers a request may ask for: Modbus Application Protocol V1.1b3, 6.3 and 6.4


@dataclass(frozen=True, slots=True)
class Request:
    """One read: `count` registers from `address` on; `parts` are the channels in it."""

    device: int
    table: str
    address: int
    count: int
    parts: tuple[str, ...]

    def __str__(self) -> str:
        last = self.address + self.count - 1
        span = f"register {self.address}" if self.count == 1 else f"registers {self.address} to {last}"
        return f"device {self.device}, {self.table} {span}"


def registers(table: ModbusTable) -> dict[str, Register]:
    """The channels that the map has."""
    found = {name: getattr(table, name) for name in CHANNELS}
    return {name: register for name, register in found.items() if register is not None}


def requests(table: ModbusTable, most: int = MOST) -> list[Request]:
    """As few requests as fetch the map: neighbours in one table of one device together, up to `most` registers.

    `most` = 0 gives each channel its own request, for a device that refuses to read across a hole in its map.
    """
    wanted = [
        (table.device if register.device is None else register.device, register.table, register.address, name)
        for name, register in registers(table).items()
    ]
    made: list[Request] = []
    for device, kind, address, name in sorted(wanted):
        end = address + registers(table)[name].count
        last = made[-1] if made else None
        if last and (last.device, last.table) == (device, kind) and end - last.address <= most:
            count = max(last.count, end - last.address)
            made[-1] = Request(device, kind, last.address, count, (*last.parts, name))
        else:
            made.append(Request(device, kind, address, end - address, (name,)))
    return made


def figure(words: Sequence[int], register: Register) -> float:
    """The figure that the words of one register hold, in the register's unit.

    Overload and "not a number" are given as the figures that SCPI has for them (`OVERLOAD_FIGURE`, NaN), which
    every reader here knows.
    """
    from pymodbus.client.mixin import ModbusClientMixin

    if register.bytes == "little":
        words = [(word & 0xFF) << 8 | word >> 8 for word in words]
    kind = ModbusClientMixin.DATATYPE[register.kind.upper()]
    raw = ModbusClientMixin.convert_from_registers(list(words), kind, word_order=register.words)
    if not isinstance(raw, int | float):
        return float("nan")
    if raw in register.overload or raw in (float("inf"), float("-inf")):
        return OVERLOAD_FIGURE
    return raw * register.scale + register.offset
