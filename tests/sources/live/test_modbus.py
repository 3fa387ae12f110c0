"""Modbus devices as loggers, over TCP and over a pseudo-terminal: pymodbus's simulator answers, and is spoilt."""

import sys
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import ValidationError

from monitor.base.errors import SettingError
from monitor.base.quantities import WRITTEN
from monitor.base.tables.modbus import ModbusTable
from monitor.base.vehicle import Vehicle
from monitor.sources.live.modbus import open_modbus
from monitor.sources.live.modbus_map import MOST, requests
from monitor.sources.live.polled import PolledLogger
from tests.sources.live.modbus_device import Device
from tests.sources.live.watching import faults, has_row, until, values

VOLTS = {"address": 0, "unit": "mV"}
AMPS = {"address": 1, "type": "int32", "unit": "mA", "positive": "discharge"}
WORDS = {0: 12650, 1: 0xFFFF, 2: 0xFFDD}  # 12,650 mV and −35 mA
HAVING = {"volts": 12.65, "amps": 0.035}  # into the battery: the device counts discharge as positive


def vehicle(silence: str = "1 h", **modbus: Any) -> Vehicle:
    settings = {
        "source": {"url": "modbus+tcp://127.0.0.1:1", "silence": silence},
        "instrument": {"every": "20 ms", "deadline": "300 ms", "modbus": {"parity": "none", **modbus}},
    }
    return Vehicle.model_validate(settings, context=WRITTEN)


def at(device: Device, **modbus: Any) -> PolledLogger:
    url = f"modbus+serial:{device.path}" if device.path else f"modbus+tcp://127.0.0.1:{device.port}"
    return open_modbus(url, vehicle(**modbus))


def table(**channels: Any) -> ModbusTable:
    return ModbusTable.model_validate(channels)


@pytest.fixture(params=["tcp", "rtu"])
def device(request: pytest.FixtureRequest) -> Iterator[Device]:
    with Device(WORDS, serial=request.param == "rtu") as made:
        yield made


@pytest.fixture
def logger(device: Device) -> Iterator[PolledLogger]:
    made = at(device, volts=VOLTS, amps=AMPS)
    yield made
    made.close()


def test_a_look_is_one_row_fetched_by_one_request(device: Device, logger: PolledLogger) -> None:
    look = until(logger, has_row, "a reading")[-1]
    assert (look.state, values(look)) == ("speaking", HAVING)
    assert device.asked == [(3, 0, 3)]


def test_input_registers_are_read_by_their_own_function(device: Device) -> None:
    made = at(device, volts={**VOLTS, "table": "input"})
    until(made, lambda look: bool(device.asked), "a request")
    made.close()
    assert device.asked[0] == (4, 0, 1)


def test_an_exception_is_told_as_a_sentence_and_costs_no_connection(device: Device) -> None:
    made = at(device, volts={"address": 900})
    look = until(made, lambda look: look.state == "error", "the exception")[-1]
    made.close()
    assert "holding register 900: exception 2, illegal data address: the device has no such register" in look.why
    assert faults([look]) == ["Modbus exception 2"]
    assert not has_row(look)


def test_a_device_that_reads_across_no_hole_is_asked_register_by_register() -> None:
    with Device({0: 12650, 40: 22}) as device:
        made = at(device, volts=VOLTS, celsius={"address": 40})
        looks = until(made, has_row, "a reading") + until(made, has_row, "the next")
        made.close()
    assert values(looks[-1]) == {"volts": 12.65, "celsius": 22.0}
    assert faults(looks) == []
    assert device.asked == [(3, 0, 41), (3, 0, 1), (3, 40, 1), (3, 0, 1), (3, 40, 1)]


def test_a_frame_spoilt_on_the_line_is_counted_and_never_a_reading() -> None:
    with Device(WORDS, serial=True) as device:
        made = at(device, volts=VOLTS, amps=AMPS)
        device.spoil = lambda frame: frame[:3] + bytes([frame[3] ^ 1]) + frame[4:]  # one bit of the volts
        looks = until(made, lambda look: bool(faults([look])), "the faulty frame")
        made.close()
    assert (looks[-1].state, faults(looks)) == ("garbage", ["faulty Modbus frame"])
    assert not any(has_row(look) for look in looks)


def test_half_a_frame_is_never_a_reading(device: Device, logger: PolledLogger) -> None:
    device.spoil = lambda frame: frame[:-3]
    looks = until(logger, lambda look: bool(faults([look])), "half a frame")
    assert (looks[-1].state, has_row(looks[-1])) == ("garbage", False)


def test_an_answer_with_fewer_registers_than_asked_for_is_never_a_reading() -> None:
    with Device(WORDS) as device:
        made = at(device, volts=VOLTS, amps=AMPS)
        # A whole frame of TCP, but of one register: length of the rest, device, function, byte count, word.
        device.spoil = lambda frame: frame[:4] + b"\x00\x05\x01\x03\x02" + frame[9:11]
        looks = until(made, lambda look: bool(faults([look])), "the short answer")
        made.close()
    assert (looks[-1].state, has_row(looks[-1])) == ("garbage", False)


def test_another_devices_answer_is_never_a_reading() -> None:
    with Device(WORDS) as device:
        made = at(device, volts=VOLTS)
        device.spoil = lambda frame: frame[:6] + b"\x07" + frame[7:]
        looks = until(made, lambda look: bool(faults([look])), "the other device")
        made.close()
    assert not any(has_row(look) for look in looks)


def test_a_silent_device_is_told_once_that_has_lasted_and_heard_when_it_is_back(device: Device) -> None:
    made = at(device, silence="500 ms", volts=VOLTS)
    until(made, has_row, "a reading")
    device.spoil = lambda _: b""
    looks = until(made, lambda look: look.state == "silent", "silence")
    assert "no answer within 0.3 s; check power, wiring" in looks[-1].why
    device.spoil = lambda frame: frame
    assert until(made, has_row, "a reading")[-1].state == "speaking"
    made.close()


def test_a_device_that_went_away_is_opened_again_when_it_is_back() -> None:
    first = Device(WORDS)
    made = at(first, volts=VOLTS)
    until(made, has_row, "a reading")
    port = first.port
    first.close()
    assert until(made, lambda look: look.state in ("hung_up", "refused"), "the end")[-1].why
    with Device(WORDS, port=port):
        assert values(until(made, has_row, "a reading after it")[-1]) == {"volts": 12.65}
    made.close()


def test_closing_ends_a_request_that_waits(device: Device) -> None:
    settings = {"every": "20 ms", "deadline": "10 min", "modbus": {"parity": "none", "volts": VOLTS}}
    url = f"modbus+serial:{device.path}" if device.path else f"modbus+tcp://127.0.0.1:{device.port}"
    made = open_modbus(url, Vehicle.model_validate({"instrument": settings}))
    asked = threading.Event()

    def swallow(_: bytes) -> bytes:
        asked.set()
        return b""

    device.spoil = swallow
    ended: list[str] = []
    waiting = threading.Thread(target=lambda: ended.append(made.poll(1.0).state))
    waiting.start()
    assert asked.wait(20)
    made.close()
    waiting.join(20)
    assert ended  # it came back, and raised nothing


def test_an_unplugged_adapter_is_told() -> None:
    made = open_modbus("modbus+serial:/dev/no-such-port", vehicle(volts=VOLTS))
    look = until(made, lambda look: look.state != "opening", "a state")[-1]
    made.close()
    assert (look.state, "plug the instrument in" in look.why) == ("unplugged", True)


@pytest.mark.parametrize(
    ("register", "words", "expected"),
    [
        ({"type": "float32"}, {0: 0x414A, 1: 0x6666}, 12.65),
        ({"type": "float32", "words": "little"}, {0: 0x6666, 1: 0x414A}, 12.65),
        ({"type": "float32", "bytes": "little"}, {0: 0x4A41, 1: 0x6666}, 12.65),
        ({"type": "uint16", "scale": 0.01, "offset": 0.05}, {0: 1260}, 12.65),
        ({"type": "int32", "unit": "µV"}, {0: 0x00C1, 1: 0x0610}, 12.65),
        ({"type": "uint64", "unit": "mV"}, {0: 0, 1: 0, 2: 0, 3: 12650}, 12.65),
    ],
)
def test_numbers_are_put_together_as_the_map_says(
    register: dict[str, Any], words: dict[int, int], expected: float
) -> None:
    with Device(words) as device:
        made = at(device, volts={"address": 0, **register})
        look = until(made, has_row, "a reading")[-1]
        made.close()
    assert values(look)["volts"] == pytest.approx(expected, abs=1e-6)  # a float32 has 24 bits: 12.65 to 5e-7


@pytest.mark.parametrize(
    ("register", "words"),
    [
        ({"type": "float32"}, {0: 0x7FC0, 1: 0}),  # not a number
        ({"type": "float32"}, {0: 0x7F80, 1: 0}),  # infinite
        ({"type": "int16", "overload": [32767], "unit": "mV"}, {0: 0x7FFF}),
    ],
)
def test_what_stands_for_no_reading_is_none(register: dict[str, Any], words: dict[int, int]) -> None:
    with Device(words) as device:
        made = at(device, volts={"address": 0, **register})
        look = until(made, has_row, "a row")[-1]
        made.close()
    assert values(look) == {}


def test_a_request_asks_for_no_more_registers_than_the_standard_allows() -> None:
    apart = table(volts={"address": 0}, amps={"address": MOST - 1}, celsius={"address": MOST})
    assert [(r.address, r.count) for r in requests(apart)] == [(0, 125), (125, 1)]


def test_two_tables_and_two_devices_are_asked_apart() -> None:
    apart = table(volts={"address": 0}, amps={"address": 1, "table": "input"}, celsius={"address": 2, "device": 9})
    assert [str(r) for r in requests(apart)] == [
        "device 1, holding register 0",
        "device 1, input register 1",
        "device 9, holding register 2",
    ]


@pytest.mark.parametrize(
    "channels",
    [
        {},
        {"amps": {"address": 0}},
        {"volts": {"address": 65536}},
        {"volts": {"address": 65535, "type": "int32"}},
        {"volts": {"address": 0, "type": "bcd"}},
        {"volts": {"address": 0, "unit": "A"}},
        {"volts": {"address": 0, "positive": "charge"}},
        {"volts": {"address": 0, "scale": 0}},
        {"volts": {"address": 0}, "device": 256},
    ],
)
def test_an_impossible_map_is_refused(channels: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        table(**channels)


def test_without_the_library_the_error_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pymodbus", None)
    with pytest.raises(SettingError) as refused:
        open_modbus("modbus+tcp://127.0.0.1", vehicle(volts=VOLTS))
    assert refused.value.remedy == "pip install keyoff-monitor[modbus]"


def test_without_a_map_the_error_says_what_to_write() -> None:
    with pytest.raises(SettingError) as refused:
        open_modbus("modbus+tcp://127.0.0.1", Vehicle())
    assert "[instrument.modbus]" in refused.value.remedy
