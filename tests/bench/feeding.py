"""Lines of a simulated car, and loggers that speak them: on a pseudo-terminal, or on TCP to as many as come.

What is spoken live bears the moment at which it is spoken, as a logger's clock gives it.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

from monitor.base.fields import iso
from monitor.simulate.wire import PtyWire

HEADER = b"time,volts,amps,celsius\n"
PATIENCE_S = 60.0
WAKE_S = 0.01  # lines that fall due within it go out together: a fast logger's own buffer does the same


def car(folder: Path, hours: float, drive_h: float, rate_hz: float = 10.0) -> list[bytes]:
    """Rows of a parked car without their times; its drive begins after `drive_h` hours and lasts ten minutes.

    A lamp flashes and a module wakes each hour, so that the detectors have what they have in life.
    """
    from monitor.simulate import Scenario, run
    from monitor.simulate.files import write

    start = datetime(2025, 3, 3, tzinfo=UTC)
    drive = start + timedelta(hours=drive_h)
    scenario = Scenario.model_validate(
        {
            "start": start,
            "days": hours / 24,
            "seed": 7,
            "vehicle": {"lamp_flash": {"amps": 0.02, "width": 0.1, "period": 1.0}},
            "trips": [{"at": drive.time(), "days": [(drive - start).days], "duration": 600.0}],
            "wake_ups": [{"amps": 0.14, "duration": 45.0, "every": 3600.0}],
            "logger": {"rate": rate_hz},
        }
    )
    log = folder / "car.csv"
    write(run(scenario), log)
    with log.open("rb") as file:
        next(file)
        rows = [line.partition(b",")[2] for line in file]
    log.unlink()
    return rows


class Wire(Protocol):
    """Where lines go."""

    url: str

    def begin(self, readers: int) -> None:
        """Wait until so many listen, and greet them with the header."""

    def send(self, data: bytes) -> None:
        """Send to all, waiting for room."""

    def close(self) -> None:
        """Hang up."""


class Tcp:
    """One port of the loopback interface; each that connects hears the same."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0), backlog=200)
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._ends: list[socket.socket] = []

    def begin(self, readers: int) -> None:
        self._server.settimeout(PATIENCE_S)
        while len(self._ends) < readers:
            end, _ = self._server.accept()
            end.settimeout(PATIENCE_S)
            self._ends.append(end)
            end.sendall(HEADER)

    def send(self, data: bytes) -> None:
        for end in self._ends:
            end.sendall(data)

    def close(self) -> None:
        for end in [*self._ends, self._server]:
            with suppress(OSError):
                end.close()


class Pty:
    """A pseudo-terminal, which holds 4 KiB as a serial port does, and waits when it is full, as one does not."""

    def __init__(self) -> None:
        self._wire = PtyWire()
        self.url = f"serial:{self._wire.name}?baud=115200"

    def begin(self, readers: int) -> None:
        assert readers == 1
        deadline = time.monotonic() + PATIENCE_S
        while not self._wire.listening():
            if time.monotonic() > deadline:
                raise RuntimeError("nobody opened the pseudo-terminal")
            time.sleep(WAKE_S)  # until the next line falls due
        self.send(HEADER)

    def send(self, data: bytes) -> None:
        if not self._wire.send(data):
            raise RuntimeError("the pseudo-terminal's reader takes nothing")

    def close(self) -> None:
        self._wire.close()


def past(rows: Sequence[bytes], rate_hz: float, ends_us: int) -> Iterator[bytes]:
    """The rows as lines in large pieces, the last one a step before `ends_us`."""
    step_us = 1e6 / rate_hz
    began_us = ends_us - round(len(rows) * step_us)
    for first in range(0, len(rows), 2000):
        piece = rows[first : first + 2000]
        yield b"".join(b"%s,%s" % (stamp(began_us + round((first + i) * step_us)), row) for i, row in enumerate(piece))


def stamp(t_us: int) -> bytes:
    return iso(t_us).encode()


class Speaker(threading.Thread):
    """Speaks rows at a rate, from `began` on, in a thread of its own.

    sent      rows spoken
    last_us   time of the last one
    late_s    how late a row went out at most: what this computer was too busy for
    sent_at   wall-clock seconds at which the row of a time (µs) went out; only where `keeps`
    """

    def __init__(
        self, wire: Wire, rows: Callable[[int], bytes | None], rate_hz: float, began_us: int, keeps: bool = False
    ) -> None:
        super().__init__(name="speaker", daemon=True)
        self._wire, self._rows, self._step_us, self._began_us, self._keeps = wire, rows, 1e6 / rate_hz, began_us, keeps
        self._stop_it = threading.Event()
        self.sent = 0
        self.last_us = 0
        self.late_s = 0.0
        self.sent_at: dict[int, float] = {}
        self.failed: Exception | None = None

    def run(self) -> None:
        try:
            self._speak()
        except Exception as wrong:  # noqa: BLE001 - told by `end`
            self.failed = wrong

    def _speak(self) -> None:
        offset_s = time.time() - time.monotonic()  # no step of the clock disturbs the rhythm
        while not self._stop_it.is_set():
            now_us = (time.monotonic() + offset_s) * 1e6
            due = int((now_us - self._began_us) / self._step_us) + 1
            if due <= self.sent:
                time.sleep(max(WAKE_S, (self._began_us + self.sent * self._step_us - now_us) / 1e6))  # as above
                continue
            self.late_s = max(self.late_s, (now_us - self._began_us - self.sent * self._step_us) / 1e6)
            lines = []
            times = []
            for number in range(self.sent, due):
                row = self._rows(number)
                if row is None:
                    self._stop_it.set()
                    break
                times.append(self._began_us + round(number * self._step_us))
                lines.append(b"%s,%s" % (stamp(times[-1]), row))
            if not lines:
                return
            self._wire.send(b"".join(lines))
            if self._keeps:
                at = time.time()
                self.sent_at.update((t_us, at) for t_us in times)
            self.sent, self.last_us = self.sent + len(lines), times[-1]

    def end(self) -> None:
        """Stop, and wait; raises what it met."""
        self._stop_it.set()
        self.join(PATIENCE_S)
        if self.failed is not None:
            raise self.failed
