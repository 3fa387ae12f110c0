"""Bytes that are no UTF-8, from a disturbed line or an old logger, cost their own cell or line and nothing else."""

import pytest

from tests.sources.live.conftest import Clock, feed, listen, on_pieces

START = 1_750_000_000


def log(bad: bytes, at: int = 30) -> bytes:
    lines = [b"%d,12.5,-0.02" % (START + i) for i in range(60)]
    lines[at] = bad
    return b"time,volts,amps\n" + b"\n".join(lines) + b"\n"


@pytest.mark.parametrize(
    ("bad", "reason", "kept"),
    [
        (b"%d,12\xff5,-0.02" % (START + 30), "volts not a number (rest of row kept)", 60),
        (b"%d,\xc3,\xa4" % (START + 30), "volts not a number", 59),
        (b"17500000\xfe30,12.5,-0.02", "time not understood", 59),
        (b"\xf0\x28\x8c\x28", "wrong number of fields", 59),
        (b"\xed\xa0\x80,\x00,\x00", "time not understood", 59),
    ],
)
@pytest.mark.parametrize("size", [1, 7, 4096])
def test_a_bad_byte_costs_no_more_than_its_line(bad: bytes, reason: str, kept: int, size: int) -> None:
    data = log(bad)
    pieces = [data[i : i + size] for i in range(0, len(data), size)]
    fed = feed(listen(on_pieces(Clock(), pieces), len(pieces) + 5).arrivals)
    assert len(fed.t_us) == kept
    assert fed.ledger.refused[reason] == 1
    assert "\ufffd" in fed.ledger.first[reason][0].text
    assert fed.ledger.first[reason][0].line == 32


def test_a_header_in_an_old_encoding_is_understood() -> None:
    data = "time;Spannung [V];Temperatur [°C]\n".encode("latin-1")
    data += b"".join(b"%d;12,5;21,5\n" % (START + i) for i in range(30))
    fed = feed(listen(on_pieces(Clock(), [data]), 5).arrivals)
    assert fed.channel("celsius").tolist() == [21.5] * 30
    assert not fed.ledger.refused
