"""A recording is a log to replay with the same samples, bounded on the disk, and its troubles stop nobody."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from monitor.sources.live.arrival import Arrival
from monitor.sources.live.record import Recorded
from monitor.sources.live.transport import LinkError
from tests.sources.live.conftest import Clock, Fed, Said, feed, listen, on_pieces
from tests.sources.live.wires import HEAD, rows

GONE = LinkError("unplugged", "gone")
OTHER = b"".join(b"%d,1,13\n" % (1750000100 + i) for i in range(30))
LOGS: dict[str, tuple[list[bytes | LinkError], dict[str, Any]]] = {
    "plain, unplugged within a line": ([HEAD + rows(25) + b"1750000025,12.5,-0.0", GONE, HEAD + rows(25, 60)], {}),
    "without time": ([b"volts;amps\n" + b"12,5;-0,02\n" * 30, b"12,4;-0,03\n" * 7], {}),
    "bare numbers": ([b"12.51,-21\n" * 40, b"noise\n"], {"volts": 1, "amps": {"column": 2, "unit": "mA"}}),
    "a lone number": ([b"12.51\n" * 40], {}),
    "a count": ([b"count_ms,volts\n" + b"".join(b"%d,12.5\n" % (i * 50) for i in range(60))], {"time": "count_ms"}),
    "units below the header": ([b"volts\tamps\nmV\tmA\n" + b"12500\t-30\n" * 30], {}),
    "records relative to now": ([b'[{"n":"u","u":"V","v":12},{"n":"u","u":"V","v":12.4,"t":-1}]\n' * 30, b"{o\n"], {}),
    "other columns later": ([HEAD + rows(30), b"time,amps,volts\n" + OTHER], {}),
}  # fmt: skip


def record(
    pieces: list[bytes | LinkError], table: dict[str, Any], folder: Path, **bounds: Any
) -> tuple[Said, Recorded]:
    clock = Clock()
    logger = Recorded(on_pieces(clock, list(pieces), table), folder, wall=clock.wall, monotonic=clock, **bounds)
    said = listen(logger, len(pieces) + 8)
    logger.close()
    return said, logger


def replay(folder: Path, table: dict[str, Any]) -> Fed:
    log = open_logs([folder], LogSettings.model_validate(table))
    return Fed(list(log.blocks()), log.ledger)


@pytest.mark.parametrize("kind", LOGS)
@pytest.mark.parametrize("file_bytes", [1 << 20, 300])
def test_a_replay_of_the_recording_gives_the_same_samples(kind: str, file_bytes: int, tmp_path: Path) -> None:
    pieces, table = LOGS[kind]
    said, _ = record(pieces, table, tmp_path / "raw", file_bytes=file_bytes)
    live, replayed = feed(said.arrivals), replay(tmp_path / "raw", table)
    assert len(live.t_us) >= 25
    assert replayed.t_us == live.t_us
    for channel in ("volts", "amps", "celsius"):
        np.testing.assert_array_equal(replayed.channel(channel), live.channel(channel))


def test_half_lines_and_noise_are_kept_as_remarks(tmp_path: Path) -> None:
    record(LOGS["plain, unplugged within a line"][0], {}, tmp_path)
    text = next(tmp_path.iterdir()).read_bytes()
    assert b"\n# 1750000025,12.5,-0.0\n" in text


class Talker:
    """A logger that says so many bytes a poll."""

    name = "a talker"

    def __init__(self, size: int) -> None:
        self.line = b"x" * (size - 1) + b"\n"

    def poll(self, timeout_s: float) -> Arrival:
        return Arrival(self.line, None, "speaking", head=b"head\n")

    def close(self) -> None:
        pass


def test_the_disk_a_recording_takes_is_bounded_and_the_oldest_goes_first(tmp_path: Path) -> None:
    clock = Clock()
    talker = Recorded(Talker(100), tmp_path, file_bytes=1000, total_bytes=5000, wall=clock.wall, monotonic=clock)
    names: list[str] = []
    for _ in range(500):
        talker.poll(0.0)
        clock.rest(1.0)
        names += [file.name for file in tmp_path.iterdir() if file.name not in names]
        assert sum(file.stat().st_size for file in tmp_path.iterdir()) <= 5000
    assert len(names) > 20
    assert sorted(file.name for file in tmp_path.iterdir()) == sorted(names)[-len(list(tmp_path.iterdir())) :]
    talker.close()


def test_a_file_ends_with_its_day(tmp_path: Path) -> None:
    clock = Clock()
    talker = Recorded(Talker(10), tmp_path, wall=clock.wall, monotonic=clock)
    for _ in range(5):
        talker.poll(0.0)
        clock.rest(43200.0)
    talker.close()
    assert [file.read_bytes() for file in sorted(tmp_path.iterdir())] == [
        b"head\n" + b"xxxxxxxxx\n" * n for n in (1, 2, 2)
    ]


def test_a_folder_that_cannot_be_written_costs_the_recording_and_nothing_else(tmp_path: Path) -> None:
    clock = Clock()
    blocked = tmp_path / "raw"
    blocked.write_text("in the way")
    talker = Recorded(Talker(10), blocked, wall=clock.wall, monotonic=clock)
    for _ in range(3):
        assert talker.poll(0.0).state == "speaking"
    assert talker.trouble == f"{blocked}: cannot be written (File exists); 10 bytes are not recorded"
    blocked.unlink()
    clock.rest(31.0)
    talker.poll(0.0)
    assert talker.trouble == ""
    assert len(list(blocked.iterdir())) == 1
    talker.close()


def test_a_full_disk_leaves_no_half_line() -> None:
    """/dev/full fails each write as a full disk does."""
    clock = Clock()
    talker = Recorded(Talker(10), Path("/dev/full/raw"), wall=clock.wall, monotonic=clock)
    assert talker.poll(0.0).state == "speaking"
    assert "cannot be written" in talker.trouble
