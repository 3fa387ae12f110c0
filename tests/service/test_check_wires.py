"""The fitting check over real wires: a pseudo-terminal and a TCP port, and a small vehicle at their other end."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import cast

import numpy as np
import pytest

from monitor.assess.fitting import Finding
from monitor.base.vehicle import Vehicle
from monitor.cli.person import Nobody
from monitor.service.check import LAMPS, OFF, RESTORE, ZERO, World, check, hurried
from monitor.service.clock import now_us
from monitor.service.destinations import Outcome
from monitor.simulate.wire import PtyWire, TcpWire, Wire
from monitor.sources.live import Arrival, LiveLogger, open_live
from monitor.sources.live.serial_port import SerialPort
from monitor.sources.live.stream import Seams
from tests.sources.live.scpi_instrument import IDENTITY, Instrument

BEGIN_S = 1_764_100_000.0
TICK_S = 0.05


class Clock:
    """A clock that moves when it is looked at, and whenever the logger is polled: no machine is too slow for it."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        self.now_s += TICK_S
        return self.now_s

    def wall_s(self) -> float:
        return BEGIN_S + self.now_s

    def rest(self, seconds: float) -> None:
        self.now_s += seconds


@dataclass
class Car:
    """What stands behind the wire: a battery of 12.65 V and 6 mΩ, and how its logger writes what it sees.

    every_s  between two lines, each of which is written as the check polls
    says     what it writes instead of its header (row −1) and lines; None: these
    """

    load_a: float = 0.021
    ohm: float = 0.006
    noise_a: float = 0.001
    sign: float = 1.0
    ahead_s: float = 0.0
    millivolts: bool = False
    off: bool = False  # the clamp hangs around nothing
    every_s: float = 0.5
    says: Callable[[int], bytes | None] = lambda row: None
    clock: Clock = field(default_factory=Clock)
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(3))

    def line(self, row: int) -> bytes:
        instead = self.says(row)
        if instead is not None:
            return instead
        if row < 0:
            return b"time,volts,amps,celsius\n"
        volts = 12.65 - self.load_a * self.ohm + self.rng.normal(0.0, 0.001)
        amps = self.sign * -(0.0 if self.off else self.load_a) + self.rng.normal(0.0, self.noise_a)
        at = datetime.fromtimestamp(BEGIN_S + row * self.every_s + self.ahead_s, UTC).isoformat(timespec="milliseconds")
        figure = f"{1000 * volts:.0f}" if self.millivolts else f"{volts:.3f}"
        return f"{at},{figure},{amps:.4f},8.5\n".encode()

    # the person

    def tell(self, text: str) -> bool:
        self.load_a = {LAMPS: 9.0, OFF: 0.021}.get(text, self.load_a)
        self.off = self.off and text != RESTORE
        return True

    def question(self, text: str) -> bool | None:
        self.off = text == ZERO
        return True

    def note(self, text: str) -> None:
        """Not looked at here."""


class Wired:
    """A live logger on a wire, at whose other end the car writes what is due before each poll."""

    def __init__(self, logger: LiveLogger, wire: Wire | None, car: Car) -> None:
        self.name = logger.name
        self._logger, self._wire, self._car = logger, wire, car
        self._row = 0
        self._readers = 0

    def poll(self, timeout_s: float) -> Arrival:
        clock, wire = self._car.clock, self._wire
        clock.now_s += self._car.every_s
        if wire is not None and wire.listening():
            if wire.readers != self._readers:
                self._readers = wire.readers
                self._row = round(clock.now_s / self._car.every_s)  # what was due before nobody read
                wire.send(self._car.line(-1))
            while self._row * self._car.every_s <= clock.now_s:
                wire.send(self._car.line(self._row))
                self._row += 1
        return self._logger.poll(timeout_s)

    def close(self) -> None:
        self._logger.close()


def url_of(wire: Wire) -> str:
    return f"serial:{wire.name}" if wire.name.startswith("/") else f"socket://{wire.name.partition('//')[2]}"


def checked(car: Car, wire: Wire | None = None, *, url: str = "", free: int = 10**11) -> dict[str, Finding]:
    """What is found of a car on a wire, a pseudo-terminal if no other; `url`: with no wire at all."""
    if not url:
        wire = wire or PtyWire(ready_s=0.0)
    url = url or url_of(cast("Wire", wire))
    vehicle = Vehicle.model_validate(
        {
            "battery": {"kind": "flooded", "capacity": "60 Ah"},
            "source": {"url": url},
            "notices": {"destinations": [{"to": "env:PHONE", "name": "phone"}]},
        }
    )
    clock = car.clock
    seams = Seams(clock.monotonic, clock.rest, lambda: 0.5)
    logger = Wired(open_live(url, hurried(vehicle, 120.0), wall=clock.wall_s, seams=seams), wire, car)
    world = World(
        wall_us=lambda: round(clock.wall_s() * 1e6),
        unset=lambda: None,
        free_bytes=lambda: free,
        watched=lambda: False,
        send=lambda *_: Outcome("sent"),
        monotonic=clock.monotonic,
    )
    try:
        return {one.name: one for one in check(vehicle, logger, car, world)}
    finally:
        logger.close()
        if wire is not None:
            wire.close()


def by_nobody(vehicle: Vehicle, seconds: float) -> dict[str, Finding]:
    """What some dozen readings tell of an instrument with nobody to ask; the clock moves only as it is looked at."""
    assert vehicle.source is not None
    logger = open_live(vehicle.source.url, hurried(vehicle, seconds))
    world = World(now_us, lambda: None, lambda: 10**11, lambda: False, lambda *_: Outcome("sent"), Clock().monotonic)
    try:
        return {one.name: one for one in check(vehicle, logger, Nobody(), world, seconds)}
    finally:
        logger.close()


def to_mend(found: dict[str, Finding]) -> list[str]:
    return [one.name for one in found.values() if one.judgement == "mend"]


@pytest.mark.parametrize("wire", [lambda: PtyWire(ready_s=0.0), lambda: TcpWire("127.0.0.1", 0)], ids=["pty", "tcp"])
def test_a_well_fitted_logger_is_fit_to_leave(wire: Callable[[], Wire]) -> None:
    names = ["logger", "columns", "rate", "lines", "resolution (volts)", "resolution (amps)", "volts"]
    names += ["current", "temperature", "zero", "sign", "sense leads", "clock", "disk", "notices to phone"]
    found = checked(Car(), wire())
    assert {name: one.judgement for name, one in found.items()} == dict.fromkeys(names, "ok")


def test_a_clamp_put_on_the_wrong_way_round_is_found() -> None:
    assert to_mend(checked(Car(sign=-1.0))) == ["sign"]


def test_thirty_milliohm_of_cable_are_found() -> None:
    assert to_mend(checked(Car(ohm=0.036))) == ["sense leads"]


def test_a_noisy_clamp_is_found() -> None:
    assert to_mend(checked(Car(noise_a=0.06))) == ["resolution (amps)"]


def test_a_clock_an_hour_off_is_found() -> None:
    found = checked(Car(ahead_s=3600.0))
    assert to_mend(found) == ["clock"]
    assert "60 min ahead" in found["clock"].found


def test_a_disk_nearly_full_is_found() -> None:
    assert to_mend(checked(Car(), free=210_000_000)) == ["disk"]


def test_lines_of_garbage_among_good_ones_are_shown() -> None:
    found = checked(Car(says=lambda row: b"?!x 17 ...\n" if row % 10 == 9 and row > 0 else None))
    assert to_mend(found) == ["lines"]
    assert '"?!x 17 ..."' in found["lines"].found


def test_nothing_but_garbage_is_told_as_such() -> None:
    found = checked(Car(says=lambda row: b"hello, this is no log\n"))
    assert to_mend(found) == ["logger"]
    assert "garbage" in found["logger"].found


def test_bytes_of_another_baud_rate_are_told_as_such() -> None:
    found = checked(Car(says=lambda row: bytes([0x00, 0x80, 0xFE, 0x1C]) * 8))
    assert to_mend(found) == ["logger"]
    assert "wrong speed" in found["logger"].found
    assert "baud" in str(found["logger"].mend)


def test_a_logger_that_says_nothing_is_told() -> None:
    found = checked(Car(every_s=3.0, says=lambda row: b""))
    assert to_mend(found) == ["logger"]
    assert "18 s" in str(found["logger"].mend)
    waited = re.search(r"silent, no reading within (\d+) s", found["logger"].found)
    assert waited is not None
    assert 30 <= int(waited[1]) < 34  # a quarter of two minutes, and up to one poll of 3 s


def test_a_port_that_another_program_has_is_told() -> None:
    wire = PtyWire(ready_s=0.0)
    other = SerialPort(wire.name)
    try:
        found = checked(Car(), url=url_of(wire))
    finally:
        other.close()
        wire.close()
    assert "port taken" in found["logger"].found
    assert "another program has the port" in str(found["logger"].mend)


def test_a_port_that_is_not_there_is_told(tmp_path: Path) -> None:
    assert "unplugged" in checked(Car(), url=f"serial:{tmp_path / 'usb-logger-port0'}")["logger"].found


def test_lines_without_a_time_are_told_to_be_stamped_here_and_their_titles_are_their_own() -> None:
    def says(row: int) -> bytes:
        return b"volts,amps\n" if row < 0 else b"12.64%d,-0.021%d\n" % (row % 3, row % 2)

    found = checked(Car(says=says))
    assert found["columns"].found == 'volts, amps recognised in "volts,amps"'
    assert "this computer gives it" in found["clock"].found


def test_nothing_but_millivolts_name_the_setting_too() -> None:
    def says(row: int) -> bytes:
        return b"volts\n" if row < 0 else b"1264%d\n" % (row % 3)

    assert 'volts = { unit = "mV" }' in str(checked(Car(says=says))["logger"].mend)


def test_millivolts_taken_for_volts_are_found() -> None:
    mends = [str(one.mend) for one in checked(Car(millivolts=True)).values()]
    assert any('volts = { unit = "mV" }' in mend for mend in mends)


def test_an_instrument_is_checked_as_a_serial_logger_is() -> None:
    with Instrument() as instrument:
        instrument.replies["MEASure:CURRent:DC?"] = "-2.1E-02"
        settings = {
            "source": {"url": instrument.url},
            "instrument": {"every": "20 ms", "scpi": {"amps": {"positive": "charge"}}},
        }
        found = by_nobody(Vehicle.model_validate(settings), 12.0)
    assert found["logger"].found.endswith(f"speaks, it is {IDENTITY}")
    assert "volts, amps recognised" in found["columns"].found
    assert found["current"].found == "21.0 mA out of the battery"
    assert {name for name, one in found.items() if one.judgement == "unknown"} >= {"sign", "sense leads", "zero"}
    assert to_mend(found) == []


def test_an_instrument_that_does_not_answer_is_told() -> None:
    with Instrument() as instrument:
        instrument.mute = True
        settings = {"source": {"url": instrument.url}, "instrument": {"deadline": "0.2 s", "scpi": {}}}
        found = by_nobody(Vehicle.model_validate(settings), 4.0)
    assert to_mend(found) == ["logger"]
    assert "silent, no reading" in found["logger"].found
    assert "no answer to *IDN?" in str(found["logger"].mend)
