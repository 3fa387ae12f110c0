"""Modbus TCP and RTU: a device's registers, read at a rhythm. Nothing is ever written to it.

The library frames, checks and matches the answers; a frame with a wrong checksum, of another device or of another
request never becomes a reading. After a missed deadline the connection is opened anew, so that a late answer cannot be
taken for the next one: RTU frames bear no number.
"""

from __future__ import annotations

import logging
import socket
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from monitor.base.errors import SettingError
from monitor.base.tables.modbus import ModbusTable
from monitor.base.vehicle import Vehicle
from monitor.sources.header import Source
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.modbus_map import Request, figure, registers, requests
from monitor.sources.live.polled import Meter, PolledLogger, Reading, Trouble
from monitor.sources.live.polled_port import PORT_ERRORS, Address, lost, opened, serial_address, socket_address
from monitor.sources.units import BASE, said_unit

if TYPE_CHECKING:
    from pymodbus.client import ModbusSerialClient, ModbusTcpClient

TCP_PORT = 502  # registered for Modbus
BAUD = 19200  # default of "MODBUS over serial line" V1.02, 2.2.1
MISSING = "Modbus needs the library pymodbus"
_PARITY = {"none": "N", "even": "E", "odd": "O"}
REFUSED_TOGETHER = (2, 3)  # what a device says that does not read across a hole in its map, or only a few registers
# Modbus Application Protocol V1.1b3, chapter 7, in the words of somebody who mends it.
EXCEPTIONS = {
    1: "illegal function: the device has no such table; try the other one, holding or input",
    2: "illegal data address: the device has no such register; addresses count from 0 here",
    3: "illegal data value: the device cannot give so many registers at once",
    4: "device failure: look at the device itself",
    5: "acknowledged, but the device is still working on it",
    6: "device busy: it is asked again",
    8: "memory parity error: look at the device itself",
    10: "gateway path unavailable: check the gateway's settings",
    11: "the device behind the gateway does not answer: check its address and wiring",
}


def open_modbus(
    url: str, vehicle: Vehicle, clock: ArrivalClock | None = None, since_us: int | None = None, guest: bool = False
) -> PolledLogger:
    """The logger at modbus+tcp://HOST:PORT or modbus+serial:/dev/PORT?baud=N; raises SettingError.

    `since_us` is not needed: the clock is past it; nor `guest`: to ask takes nothing from anybody.
    """
    try:
        import pymodbus  # noqa: F401 - asked for early: whether it is there
    except ImportError as wrong:
        raise SettingError(MISSING, "pip install keyoff-monitor[modbus]") from wrong
    instrument = vehicle.instrument
    if instrument is None or instrument.modbus is None:
        raise SettingError(
            "no register map: which registers hold the volts is not said",
            "write a table [instrument.modbus] with volts = { address = 0, … } into the vehicle file",
        )
    is_serial = url.startswith("modbus+serial:")
    address = serial_address(url, BAUD) if is_serial else socket_address(url, TCP_PORT)
    meter: Meter = ModbusMeter(address, instrument.modbus, instrument.deadline_s)
    silence_s = 120.0 if vehicle.source is None else vehicle.source.silence_s
    return PolledLogger(meter, instrument.every_s, silence_s, clock or ArrivalClock())


class _ReadsNoHolesError(Exception):
    """Registers that were asked for together must be asked for one by one."""


class ModbusMeter:
    """A Modbus device as a meter."""

    def __init__(self, address: Address, table: ModbusTable, deadline_s: float) -> None:
        logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # its troubles are told here, once and in words
        self.name = address.url
        self.identity = ""
        self._address = address
        self._table = table
        self._deadline_s = deadline_s
        self._registers = registers(table)
        self._requests = requests(table)
        self._client: ModbusTcpClient | ModbusSerialClient | None = None
        self._heard = b""
        self.channels = {
            name: Source(
                0, BASE if r.unit is None else said_unit(name, r.unit), -1.0 if r.positive == "discharge" else 1.0
            )
            for name, r in self._registers.items()
        }

    def open(self) -> None:
        """Connect. The connection is made here, since the library would not say why it cannot."""
        from pymodbus.client import ModbusSerialClient, ModbusTcpClient

        at, wait_s = self._address, self._deadline_s
        if not at.path:
            link = opened(at, lambda: socket.create_connection((at.host, at.port), timeout=wait_s))
            tcp = ModbusTcpClient(at.host, port=at.port, timeout=wait_s, retries=0, trace_packet=self._trace)
            self._client, tcp.socket = tcp, link
            return
        import serial

        parity, stop_bits = _PARITY[self._table.parity], self._table.stop_bits
        port = opened(
            at,
            lambda: serial.Serial(
                at.path,
                at.baud,
                parity=parity,
                stopbits=stop_bits,
                exclusive=True,
                timeout=wait_s,
                write_timeout=wait_s,
            ),
        )
        with suppress(*PORT_ERRORS):
            port.reset_input_buffer()  # a late answer to a request before
        rtu = ModbusSerialClient(
            at.path,
            baudrate=at.baud,
            parity=parity,
            stopbits=stop_bits,
            timeout=wait_s,
            retries=0,
            trace_packet=self._trace,
        )
        self._client, rtu.socket = rtu, port

    def read(self) -> Reading:
        """All channels of the map, in as few requests as the device allows."""
        try:
            return self._look()
        except _ReadsNoHolesError:
            self._requests = requests(self._table, most=0)
            return self._look()

    def _look(self) -> Reading:
        figures: dict[str, float | None] = {}
        texts: list[str] = []
        troubles: list[Trouble] = []
        for request in self._requests:
            words = self._ask(request)
            if isinstance(words, Trouble):
                troubles.append(words)
                continue
            for name in request.parts:
                register = self._registers[name]
                start = register.address - request.address
                part = words[start : start + register.count]
                figures[name] = figure(part, register)
                texts.append(f"{name} {' '.join(f'{word:04X}' for word in part)}")
        if not figures:
            raise troubles[0]
        return Reading(figures, ", ".join(texts), tuple(troubles))

    def close(self) -> None:
        """Close the connection."""
        client, self._client = self._client, None
        if client is not None:
            link = client.socket
            if isinstance(link, socket.socket):
                with suppress(OSError):
                    link.shutdown(socket.SHUT_RDWR)  # ends a wait in another thread, as closing alone does not
            with suppress(*PORT_ERRORS):
                client.close()  # type: ignore[no-untyped-call]  # the library is typed in part

    def _trace(self, sending: bool, data: bytes) -> bytes:
        self._heard = b"" if sending else data
        return data

    def _ask(self, request: Request) -> list[int] | Trouble:
        """The words of one request, or the device's refusal; raises Trouble when there is no sound answer."""
        answer = self._answer(request)
        if answer.isError():
            code = int(getattr(answer, "exception_code", 0))
            if code in REFUSED_TOGETHER and len(request.parts) > 1:
                raise _ReadsNoHolesError
            said = EXCEPTIONS.get(code, "an exception that the standard does not have")
            why = f"{request}: exception {code}, {said}"
            return Trouble("error", why, f"Modbus exception {code}", f"{request}: exception {code}", keep=True)
        words = list(answer.registers)
        if answer.function_code != (3 if request.table == "holding" else 4) or len(words) != request.count:
            raise self._unsound(request)
        return words

    def _answer(self, request: Request) -> Any:
        from pymodbus.exceptions import ConnectionException, ModbusException

        client = self._client
        if client is None or client.socket is None:
            raise Trouble("hung_up", "closed")
        ask = client.read_holding_registers if request.table == "holding" else client.read_input_registers
        self._heard = b""
        try:
            return ask(request.address, count=request.count, device_id=request.device)
        except ConnectionException as wrong:
            lost(self._address, wrong)
        except ModbusException as wrong:
            if self._heard:
                raise self._unsound(request) from wrong
            hint = f"; now {self._address.baud} baud, parity {self._table.parity}" if self._address.path else ""
            raise Trouble(
                "silent",
                f"{request}: no answer within {self._deadline_s:g} s; "
                f"check power, wiring and the device's address{hint}",
            ) from wrong
        except PORT_ERRORS as wrong:
            lost(self._address, wrong)

    def _unsound(self, request: Request) -> Trouble:
        return Trouble(
            "garbage",
            f"{request}: what came is no sound answer (checksum, length or device); "
            "check wiring, termination, speed and parity, and that only one program asks",
            "faulty Modbus frame",
            self._heard[:40].hex(" "),
        )
