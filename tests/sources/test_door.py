"""What the door of the room promises."""

import subprocess
import sys
from pathlib import Path

import pytest

from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from tests.sources.conftest import Read


def test_absent_channels_are_none_and_unknown_readings_are_nan(read: Read) -> None:
    whole = read("time,volts,amps\n1,12.5,\n2,,-1\n")
    assert whole.log.channels == ("volts", "amps")
    assert whole.celsius is None
    assert str(whole.volts.tolist()) == "[12.5, nan]"


def test_blocks_are_read_once(read: Read) -> None:
    log = read("time,volts\n1,12.5\n").log
    with pytest.raises(RuntimeError, match="read once"):
        next(log.blocks())


def test_samples_of_the_ledger_are_those_of_the_blocks(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,volts\n" + "".join(f"{i},12.5\n" for i in range(1000)))
    log = open_logs([path], LogSettings(), chunk_bytes=500)
    counts = [len(block) for block in log.blocks()]
    assert sum(counts) == log.ledger.samples == 1000
    assert len(counts) > 10


def test_the_door_opens_without_the_heavy_reader() -> None:
    code = "import sys, monitor.sources; sys.exit('pyarrow' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
