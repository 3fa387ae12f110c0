"""A Modbus device for tests: pymodbus's simulator behind a TCP port or a pseudo-terminal, with an answer to spoil."""

from __future__ import annotations

import asyncio
import os
import select
import threading
import tty
from collections.abc import Callable
from typing import Any

from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

Spoil = Callable[[bytes], bytes]


class Device:
    """Serves registers until closed; `spoil` gets each answer and gives what goes over the wire, b"" for nothing."""

    def __init__(self, holding: dict[int, int], serial: bool = False, port: int = 0) -> None:
        self.spoil: Spoil = lambda frame: frame
        self.asked: list[tuple[int, int, int]] = []  # function code, address, count
        self._blocks = [_block(holding), _block({0: 0})]
        self._bridge = Bridge() if serial else None
        self.path = "" if self._bridge is None else self._bridge.near
        self.port = port
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()), name="modbus-device")
        self._thread.start()
        assert self._ready.wait(10)

    def close(self) -> None:
        self._loop.call_soon_threadsafe(self._done.set)
        self._thread.join(10)
        if self._bridge is not None:
            self._bridge.close()

    def __enter__(self) -> Device:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    async def _serve(self) -> None:
        self._loop, self._done = asyncio.get_running_loop(), asyncio.Event()
        none = [SimData(0, count=1, values=False, datatype=DataType.BITS)]
        device = SimDevice(1, simdata=(none, none, *self._blocks))
        hooks = {"trace_packet": self._trace, "trace_pdu": self._look}
        if self._bridge is None:
            server: Any = ModbusTcpServer(device, address=("127.0.0.1", self.port), **hooks)
        else:
            server = ModbusSerialServer(device, port=self._bridge.far, baudrate=19200, **hooks)
        await server.serve_forever(background=True)
        if self._bridge is None:
            self.port = server.transport.sockets[0].getsockname()[1]
        self._ready.set()
        await self._done.wait()
        await server.shutdown()

    def _look(self, sending: bool, pdu: Any) -> Any:
        if not sending:
            self.asked.append((pdu.function_code, pdu.address, pdu.count))
        return pdu

    def _trace(self, sending: bool, frame: bytes) -> bytes:
        return self.spoil(frame) if sending else frame


def _block(words: dict[int, int]) -> list[SimData]:
    return [SimData(at, values=word, datatype=DataType.REGISTERS) for at, word in sorted(words.items())]


class Bridge:
    """Two pseudo-terminals whose far sides are joined: what goes in at `near` comes out at `far`, and back."""

    def __init__(self) -> None:
        pairs = [os.openpty(), os.openpty()]
        for _, slave in pairs:
            tty.setraw(slave)
        self._masters = [master for master, _ in pairs]
        self._slaves = [slave for _, slave in pairs]
        self.near, self.far = (os.ttyname(slave) for slave in self._slaves)
        self._wake, self._end = os.pipe()
        self._thread = threading.Thread(target=self._run, name="pty-bridge")
        self._thread.start()

    def close(self) -> None:
        os.write(self._end, b"x")
        self._thread.join(10)
        for port in (*self._masters, *self._slaves, self._wake, self._end):
            os.close(port)

    def _run(self) -> None:
        other = dict(zip(self._masters, reversed(self._masters), strict=True))
        while True:
            ready = select.select([*self._masters, self._wake], [], [], 10)[0]
            if self._wake in ready:
                return
            for port in ready:
                os.write(other[port], os.read(port, 4096))
