"""The logs to measure with: a simulated car, 10 Hz, two drives a day, a module that wakes every two hours.

Deterministic. Run as a process of its own, so that what it needs of memory is not taken for the program's:
`python -m tests.bench.logs FOLDER DAYS`.
"""

import sys
from datetime import UTC, datetime, time
from pathlib import Path

DAY_ROWS = 864_000  # 10 Hz
ROW_GROUP = 1 << 20  # rows; what pyarrow writes by default


def csv_of(folder: Path, days: int) -> Path:
    return folder / f"days_{days}.csv"


def parquet_of(folder: Path, days: int) -> Path:
    return folder / f"days_{days}.parquet"


def make(folder: Path, days: int) -> None:
    """Write the log of so many days as delimited text and as Parquet."""
    from monitor.simulate import Scenario, run
    from monitor.simulate.files import write

    scenario = Scenario.model_validate(
        {
            "start": datetime(2025, 3, 3, tzinfo=UTC),
            "days": float(days),
            "seed": 7,
            "vehicle": {"lamp_flash": {"amps": 0.02, "width": 0.1, "period": 1.0}},
            "trips": [
                {"at": time(7, 30), "duration": 1500.0, "stops": 3},
                {"at": time(17, 10), "duration": 1800.0, "stops": 2},
            ],
            "wake_ups": [{"amps": 0.14, "duration": 45.0, "every": 7200.0}],
            "logger": {"rate": 10.0},
        }
    )
    write(run(scenario), csv_of(folder, days))
    _as_parquet(csv_of(folder, days), parquet_of(folder, days))


def _as_parquet(text: Path, log: Path) -> None:
    """The same rows with pyarrow's default row groups and compression, a row group in memory at a time."""
    import pyarrow as pa
    from pyarrow import parquet

    from tests.bench.baselines import open_typed

    reader = open_typed(text)
    with parquet.ParquetWriter(log, reader.schema) as writer:
        waiting: list[pa.RecordBatch] = []
        for batch in reader:
            waiting.append(batch)
            if sum(part.num_rows for part in waiting) >= ROW_GROUP:
                whole = pa.Table.from_batches(waiting)
                writer.write_table(whole.slice(0, ROW_GROUP))
                waiting = whole.slice(ROW_GROUP).to_batches()
        if waiting:
            writer.write_table(pa.Table.from_batches(waiting))


if __name__ == "__main__":
    make(Path(sys.argv[1]), int(sys.argv[2]))
