"""Modbus: frames and answers that the specification and other sources print, through our device, map and library.

Application Protocol V1.1b3: 6.3 (read holding registers), 6.4 (read input registers), 7 (exceptions). Serial Line
V1.02: the checksum. Frames of 6.3 for other devices, and the copy with a wrong checksum, are public test vectors.
"""

import struct

import pytest
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

from monitor.base.tables.modbus import Register
from monitor.base.vehicle import Vehicle
from monitor.sources.live.modbus import open_modbus
from monitor.sources.live.modbus_map import figure
from tests.sources.live.modbus_device import Device
from tests.sources.live.watching import faults, has_row, until, values

REPLY_6_3 = bytes.fromhex("03 06 02 2B 00 00 00 64")  # 555, 0, 100
CHECKSUMS = {0x11: "C8 BA", 0x01: "05 7A"}


def received(frame: bytes, device: int) -> list[int] | None:
    """The registers that the library takes from a frame; None where it takes none."""
    _, answer = FramerRTU(DecodePDU(False)).handleFrame(frame, device, 0)
    return None if answer is None else list(answer.registers)


def reading(answer: bytes, **channels: object) -> tuple[dict[str, float], list[str], str]:
    """What our logger makes of `answer` on a serial line: figures, faults, why."""
    instrument = {"every": "20 ms", "deadline": "300 ms", "modbus": {"parity": "none", **channels}}
    with Device({107: 555, 108: 0, 109: 100}, serial=True) as device:
        device.spoil = lambda _: answer
        logger = open_modbus(f"modbus+serial:{device.path}", Vehicle.model_validate({"instrument": instrument}))
        look = until(logger, lambda look: look.rows is not None, "an answer")[-1]
        logger.close()
    return values(look) if has_row(look) else {}, faults([look]), look.why


@pytest.mark.parametrize(("device", "checksum"), [(0x11, "76 87"), (0x01, "74 17")])
def test_request_of_6_3(device: int, checksum: str) -> None:
    request = ReadHoldingRegistersRequest(address=0x6B, count=3, dev_id=device)
    expected = bytes([device]) + bytes.fromhex("03 00 6B 00 03" + checksum)
    assert FramerRTU(DecodePDU(False)).buildFrame(request) == expected


@pytest.mark.parametrize("device", CHECKSUMS)
def test_reply_of_6_3(device: int) -> None:
    assert received(bytes([device]) + REPLY_6_3 + bytes.fromhex(CHECKSUMS[device]), device) == [555, 0, 100]


THREE = {"volts": {"address": 0x6B, "scale": 0.02}, "amps": {"address": 0x6D}}  # so that three registers are asked for


def test_reply_of_6_3_is_a_reading_of_ours() -> None:
    figures, counted, _ = reading(b"\x01" + REPLY_6_3 + bytes.fromhex("05 7A"), **THREE)
    assert (figures, counted) == ({"volts": pytest.approx(11.1), "amps": 100.0}, [])


def test_the_copy_with_a_wrong_checksum_never_becomes_a_reading() -> None:
    wrong = b"\x01" + REPLY_6_3 + bytes.fromhex("39 80")
    assert received(wrong, 1) is None
    figures, counted, why = reading(wrong, **THREE)
    assert (figures, counted) == ({}, ["faulty Modbus frame"])
    assert "checksum" in why


@pytest.mark.parametrize(
    ("data", "checksum"),
    [
        (bytes.fromhex("02 07"), "41 12"),  # Serial Line V1.02, example of the checksum
        (b"123456789", "37 4B"),  # the check value that catalogues of checksums list for this one
        (bytes.fromhex("01 03 00 02 00 01"), "25 CA"),
    ],
)
def test_checksums(data: bytes, checksum: str) -> None:
    assert FramerRTU.compute_CRC(data).to_bytes(2, "big") == bytes.fromhex(checksum)


def test_input_registers_of_6_4() -> None:
    request = ReadInputRegistersRequest(address=8, count=1, dev_id=1)
    assert FramerRTU(DecodePDU(False)).buildFrame(request)[1:-2] == bytes.fromhex("04 00 08 00 01")
    answer = bytes.fromhex("01 04 02 00 0A")
    assert received(answer + FramerRTU.compute_CRC(answer).to_bytes(2, "big"), 1) == [10]


def test_an_exception_is_told_in_words() -> None:
    figures, counted, why = reading(bytes.fromhex("01 83 02 C0 F1"), volts={"address": 0x6B})
    assert (figures, counted) == ({}, ["Modbus exception 2"])
    assert "illegal data address" in why


def test_float32_with_the_high_word_first() -> None:
    register = Register.model_validate({"address": 0, "type": "float32"})
    assert figure(struct.unpack(">HH", bytes.fromhex("41 4A 66 66")), register) == pytest.approx(12.65, abs=1e-6)
