"""A plain log is replayed without the libraries that take long to load and that it does not need."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

HEAVY = {"pandas", "scipy", "pint"}  # pyarrow's own conversions ask for pandas wherever they are used
DEADLINE_S = 60
ROWS = 20_000
DEMO = Path(__file__).parents[2] / "replay_logs" / "sound-week.csv.gz"
BEGIN = datetime(2025, 3, 3, tzinfo=UTC)


def replayed(log: Path) -> set[str]:
    """Names of all modules that a replay of the log asks for, installed or not."""
    code = f"""
import sys
asked = set()
class Watch:
    def find_spec(self, name, path=None, target=None):
        asked.add(name)
sys.meta_path.insert(0, Watch())
sys.argv[1:] = ["replay", {str(log)!r}, "--json"]
from monitor.cli import main
code = main()
print(*asked, file=sys.stderr)
sys.exit(code)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", timeout=DEADLINE_S)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["log"]["samples"] >= ROWS
    return set(done.stderr.split())


def _iso(row: int) -> str:
    return (BEGIN + timedelta(seconds=row)).isoformat()


TEXTS = {
    "ISO 8601": lambda row: f"{_iso(row)},12.5,-0.02\n",
    "ISO 8601 without a zone": lambda row: f"{_iso(row)[:19]},12.5,-0.02\n",
    "Unix time": lambda row: f"{1_741_000_000 + row},12.5,-0.02\n",
    "rows that carry one channel in turn": lambda row: f"{_iso(row)},{'12.5,' if row % 2 else ',-0.02'}\n",
}


@pytest.mark.parametrize("line", TEXTS.values(), ids=TEXTS.keys())
def test_delimited_text_needs_nothing_heavy(line: object, tmp_path: Path) -> None:
    assert callable(line)
    log = tmp_path / "log.csv"
    log.write_text("time,volts,amps\n" + "".join(line(row) for row in range(ROWS)))
    asked = replayed(log)
    assert "monitor.detect.engine" in asked
    assert asked.isdisjoint(HEAVY)


def test_parquet_needs_nothing_heavy(tmp_path: Path) -> None:
    import pyarrow as pa
    from pyarrow import parquet

    times = pa.array([BEGIN + timedelta(seconds=row) for row in range(ROWS)], pa.timestamp("us", "UTC"))
    log = tmp_path / "log.parquet"
    parquet.write_table(pa.table({"time": times, "volts": [12.5] * ROWS, "amps": [None, -0.02] * (ROWS // 2)}), log)
    assert replayed(log).isdisjoint(HEAVY)


def test_clean_delimited_text_does_without_the_functions_of_pyarrow(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("time,volts,amps\n" + "".join(TEXTS["ISO 8601"](row) for row in range(ROWS)))
    assert "pyarrow.compute" not in replayed(log)


def test_a_week_of_drives_and_nights_with_nothing_wrong_needs_nothing_heavy() -> None:
    assert replayed(DEMO).isdisjoint(HEAVY)
