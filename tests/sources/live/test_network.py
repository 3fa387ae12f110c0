"""Loggers behind a network, and on standard input: real sockets, a real RFC 2217 server, a real pipe."""

import os
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import serial
import serial.rfc2217

from monitor.simulate.wire import TcpWire
from monitor.sources.live import open_live
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.standard_input import StandardInput
from monitor.sources.live.stream import Habits, Seams, StreamLogger
from tests.sources.live.conftest import Said, car, until, until_state
from tests.sources.live.wires import HEAD, START_US, rows


def reader_on(wire: TcpWire) -> None:
    """Take the connection that waits, as the virtual logger does at each look."""
    assert wire.listening()


def test_a_logger_behind_tcp_is_heard_and_called_again_when_it_hangs_up() -> None:
    wire = TcpWire("127.0.0.1", 0)
    port = int(wire.name.rsplit(":", 1)[1])
    logger = open_live(f"socket://127.0.0.1:{port}", car())
    said = Said([logger.poll(0.0)])
    reader_on(wire)
    wire.send(HEAD + rows(30) + b"1750000030,12.5,-0.0")
    wire.close()
    until_state(logger, "hung_up", said)
    assert "hung up (it closed the connection)" in said.why
    assert said.t_us == [START_US + i * 1_000_000 for i in range(30)], "what was sent before the end is not lost"
    assert said.refused == {"cut-off last line": 1}
    until_state(logger, "refused", said)
    assert "cannot be reached (Connection refused)" in said.why
    again = TcpWire("127.0.0.1", port)
    until_state(logger, "opening", said)
    reader_on(again)
    again.send(HEAD + rows(30, first=60))
    until(logger, lambda s: len(s.t_us) >= 60, "30 more rows", said)
    assert said.states == ["opening", "speaking", "hung_up", "refused", "opening", "speaking"]
    again.close()
    logger.close()


@contextmanager
def port_server() -> Iterator[tuple[int, list[int], threading.Event]]:
    """An RFC 2217 server for one client on a port that loops back: its number, the baud rates it was told, and what
    lets its device speak."""
    server = socket.create_server(("127.0.0.1", 0))
    device = serial.serial_for_url("loop://", timeout=0.05)
    bauds: list[int] = []
    over, speak = threading.Event(), threading.Event()

    def serve() -> None:
        client, _ = server.accept()
        client.settimeout(0.05)

        class Connection:
            def write(self, data: bytes) -> None:
                client.sendall(data)

        manager = serial.rfc2217.PortManager(device, Connection())
        while not over.is_set():
            try:
                data = client.recv(1024)
            except TimeoutError:
                data = None
            if data == b"":
                break
            for _ in manager.filter(data or b""):
                pass
            if device.baudrate not in bauds:
                bauds.append(device.baudrate)
            if speak.is_set():
                client.sendall(b"".join(manager.escape(HEAD + rows(30))))
                speak.clear()
        client.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield server.getsockname()[1], bauds, speak
    finally:
        over.set()
        thread.join(10.0)
        server.close()
        device.close()


def test_a_port_of_another_computer_is_set_up_and_heard() -> None:
    with port_server() as (port, bauds, speak):
        logger = open_live(f"rfc2217://127.0.0.1:{port}?baud=19200", car())
        said = Said([logger.poll(0.0)])
        speak.set()
        said = until(logger, lambda s: len(s.t_us) >= 30, "30 rows", said)
        assert bauds[-1] == 19200
        assert said.t_us == [START_US + i * 1_000_000 for i in range(30)]
    said = until_state(logger, "hung_up", said)
    logger.close()


def test_standard_input_is_read_to_its_end_and_hangs_up() -> None:
    reads, writes = os.pipe()
    source = StandardInput(reads)
    logger = StreamLogger(
        "standard input", source.connect, Habits(), car().log, 12.0, 120.0, ArrivalClock(), Seams(jitter=lambda: 0.0)
    )
    os.write(writes, HEAD + rows(25) + b"17500000")
    os.close(writes)
    said = until_state(logger, "hung_up")
    assert "start keyoff again" in said.why
    assert len(said.t_us) == 25
    assert said.refused == {"cut-off last line": 1}
    said = until(logger, lambda s: len(s.arrivals) > 5, "it stays so", said)
    assert said.states == ["speaking", "hung_up"] or said.states == ["opening", "speaking", "hung_up"]
    os.close(reads)


def test_a_connection_that_died_without_a_sign_is_opened_anew() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        logger = open_live(url, car(source={"url": url, "silence": "1 s"}))
        said = until_state(logger, "silent")
        calls = [server.accept()[0]]  # says nothing, and never will
        server.setblocking(False)

        def speaking(said: Said) -> bool:
            with suppress(BlockingIOError):
                calls.append(server.accept()[0])
                calls[-1].sendall(HEAD + rows(20))
            return said.arrivals[-1].state == "speaking"

        until(logger, speaking, "it speaks again", said)
        assert said.states == ["opening", "silent", "speaking"]
        logger.close()
        for call in calls:
            call.close()
