"""However the bytes are cut on the way, the rows, books and blocks are those of the file read whole."""

from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from tests.sources.live.conftest import Clock, Fed, Said, feed, listen, on_pieces

ISO = "".join(f"2025-06-15T14:{m:02d}:{s:02d}Z,{12 + s / 100:.2f},{-s / 1000}\n" for m in range(2) for s in range(60))
LOGS: dict[str, tuple[bytes, dict[str, Any]]] = {
    "plain": (b"time,volts,amps\n" + ISO.encode(), {}),
    "bad UTF-8": (b"time,volts,amps\n" + ISO.replace("12.30", "12\xb0").encode("latin-1"), {}),
    "with titles and units": (
        b"Logger 7\r\n\r\ntime;volts;amps\r\n;V;mA\r\n"
        + "".join(f"15.06.2025 14:00:{s:02d};12,{s:02d};-{s}\r\n" for s in range(60)).encode(),
        {},
    ),
    "carriage returns": (b"time,volts\r" + b"".join(b"%d,12.%d\r" % (1750000000 + i, i) for i in range(90)), {}),
    "overloads, gaps, garbage": (
        b"time,volts,amps\n" + ISO.replace("12.07", "OL").replace("12.09", "").replace("12.11,", "@@@@").encode(),
        {},
    ),
    "header again": ((b"time,volts,amps\n" + ISO.encode()) * 2, {}),
    "out of order": (
        b"time,volts\n" + b"".join(b"%d.%d,12.5\n" % (1750000000 + i, (7 * i) % 10) for i in range(50)) * 2,
        {},
    ),
    "clock set back": (
        b"time,volts\n" + b"".join(b"%d,12.5\n" % (1750000000 + i - 3600 * (i > 40)) for i in range(90)),
        {},
    ),
    "the hour of autumn twice": (
        b"time,volts\n" + b"".join(b"2025-10-26 02:%02d:00,12.5\n" % (m % 60) for m in range(50, 130)),
        {"time": {"zone": "Europe/Oslo"}},
    ),
    "columns by number": (
        b"".join(b"%d\t-12\t12650\n" % (1750000000000 + 100 * i) for i in range(70)),
        {"time": 1, "amps": {"column": 2, "unit": "mA"}, "volts": {"column": 3, "unit": "mV"}},
    ),
    "senml": (
        b"".join(
            b'[{"bt":%d,"n":"u","u":"V","v":12.5},{"n":"i","u":"A","v":-0.02,"t":-0.1}]\n' % (1750000000 + i)
            for i in range(60)
        ),
        {},
    ),
}  # fmt: skip


def read_whole(log: bytes, table: dict[str, Any], folder: str) -> tuple[Fed, str]:
    path = Path(folder) / "log.csv"
    path.write_bytes(log)
    recorded = open_logs([path], LogSettings.model_validate(table))
    return Fed(list(recorded.blocks()), recorded.ledger), str(path)


def hear(log: bytes, table: dict[str, Any], cuts: list[int], name: str = "a logger") -> Said:
    places = sorted({0, len(log), *(cut % len(log) for cut in cuts)})
    pieces = [log[a:b] for a, b in pairwise(places)]
    return listen(on_pieces(Clock(), pieces, table, name=name), len(pieces) + 5)


@pytest.mark.parametrize("kind", LOGS)
@settings(max_examples=20)
@given(cuts=st.lists(st.integers(0, 1 << 16), max_size=40))
@example(cuts=[])
@example(cuts=list(range(400)))
def test_live_is_what_the_file_is(kind: str, cuts: list[int]) -> None:
    log, table = LOGS[kind]
    with TemporaryDirectory() as folder:
        whole, name = read_whole(log, table, folder)
        live = feed(hear(log, table, cuts, name).arrivals)
    assert live.t_us == whole.t_us
    for channel in ("volts", "amps", "celsius"):
        np.testing.assert_array_equal(live.channel(channel), whole.channel(channel))
    if kind != "senml":  # a record's place is told by its line, and by its own text
        assert live.ledger.first == whole.ledger.first
    live.ledger.shift_us = 0  # kept only by a live log, to go on with
    live.ledger.first = whole.ledger.first
    assert live.ledger == whole.ledger


@pytest.mark.parametrize("kind", LOGS)
def test_each_of_these_logs_has_something_to_say(kind: str) -> None:
    log, table = LOGS[kind]
    assert len(feed(hear(log, table, []).arrivals).t_us) > 40


def test_a_cut_that_shifted_a_byte_would_be_found() -> None:
    log, table = LOGS["plain"]
    said = hear(log.replace(b"12.05", b"12.06", 1), table, [])
    assert (
        feed(said.arrivals).channel("volts").tolist() != feed(hear(log, table, []).arrivals).channel("volts").tolist()
    )


@pytest.mark.parametrize(
    "kind", ["plain", "with titles and units", "overloads, gaps, garbage", "header again", "senml"]
)
@settings(max_examples=10)
@given(cuts=st.lists(st.integers(0, 1 << 16), max_size=10))
def test_a_recording_of_it_is_a_log_with_the_same_samples(kind: str, cuts: list[int]) -> None:
    log, table = LOGS[kind]
    said = hear(log, table, cuts)
    head = next((a.head for a in said.arrivals if a.head), b"")
    with TemporaryDirectory() as folder:
        replayed, _ = read_whole(head + said.raw, table, folder)
    live = feed(said.arrivals)
    assert replayed.t_us == live.t_us
    np.testing.assert_array_equal(replayed.channel("volts"), live.channel("volts"))
    np.testing.assert_array_equal(replayed.channel("amps"), live.channel("amps"))
