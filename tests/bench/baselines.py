"""What keyoff is measured against: pyarrow's own reading of the same file, typed and streaming, nothing else done.

Run as a process of its own: `python -m tests.bench.baselines FILE`; prints the number of rows.
"""

import sys
from pathlib import Path
from typing import Any


def open_typed(log: Path) -> Any:
    """pyarrow's streaming reader with its own settings but for the columns' types, which are said."""
    import pyarrow as pa
    from pyarrow import csv

    number = pa.float64()
    types = {"time": pa.timestamp("us", "UTC"), "volts": number, "amps": number, "celsius": number}
    return csv.open_csv(log, convert_options=csv.ConvertOptions(column_types=types))


def read(log: Path) -> int:
    """Read all batches; returns the number of rows."""
    if log.suffix == ".csv":
        return sum(batch.num_rows for batch in open_typed(log))
    from pyarrow import parquet

    return sum(batch.num_rows for batch in parquet.ParquetFile(log).iter_batches())


if __name__ == "__main__":
    sys.stdout.write(f"{read(Path(sys.argv[1]))}\n")
