"""Writing a simulated log and its truth: delimited text (plain or gzip) or Parquet, by the file's ending.

The same scenario and seed give the same bytes: nothing of the day or the machine goes into a file.
"""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, cast

import numpy as np

from monitor.base.errors import SettingError
from monitor.base.samples import SECOND_US, Block
from monitor.simulate.logger import instants
from monitor.simulate.run import Simulation

if TYPE_CHECKING:
    import pyarrow as pa

ENDINGS = (".csv", ".csv.gz", ".parquet")
COMPRESSION = 9


def ending(path: Path) -> str:
    """Ending of a log's name; raises SettingError when it is none that can be written."""
    found = next((end for end in ENDINGS if path.name.endswith(end) and path.name != end), None)
    if found is None:
        raise SettingError(f"{path}: not a log's ending", f"name a file that ends in {', '.join(ENDINGS)}")
    return found


def truth_path(log: Path) -> Path:
    """Where the truth about a log is written.

    >>> str(truth_path(Path("week.csv.gz")))
    'week.truth.json'
    """
    return log.with_name(log.name.removesuffix(ending(log)) + ".truth.json")


def write(simulation: Simulation, log: Path) -> Path:
    """Write the log and, beside it, its truth; returns the truth's path."""
    end = ending(log)
    truth = truth_path(log)
    if end == ".parquet":
        _parquet(simulation, log)
    else:
        _delimited(simulation, log, end == ".csv.gz")
    truth.write_text(simulation.truth.model_dump_json(indent=1) + "\n", encoding="utf-8")
    return truth


def header(simulation: Simulation) -> list[str]:
    """Names of the log's columns."""
    return ["time", *(c for c in ("volts", "amps", "celsius") if c in simulation.scenario.logger.channels)]


def time_unit(simulation: Simulation) -> str:
    """Coarsest of s, ms, us that holds every instant of the log."""
    spec = simulation.scenario.logger
    marks: list[float] = []
    for group in instants(spec, simulation.plan, simulation.track):
        marks += [float(group.first), group.period_us]
    marks += [step.by * SECOND_US for step in spec.clock_steps]
    for unit, size in (("s", SECOND_US), ("ms", 1000)):
        if all(mark % size == 0 for mark in marks):
            return unit
    return "us"


def _table(block: Block, unit: str, names: list[str]) -> pa.RecordBatch:
    import pyarrow as pa

    columns = {"volts": block.volts, "amps": block.amps, "celsius": block.celsius}
    time = pa.array(block.t_us, pa.timestamp("us", "UTC")).cast(pa.timestamp(unit, "UTC"))
    return pa.record_batch([time, *(pa.array(columns[name]) for name in names[1:])], names=names)


def _parquet(simulation: Simulation, log: Path) -> None:
    import pyarrow.parquet as pq

    names = header(simulation)
    writer: pq.ParquetWriter | None = None
    for block in simulation.rows():
        batch = _table(block, "us", names)
        if writer is None:
            writer = pq.ParquetWriter(log, batch.schema, compression="zstd", compression_level=COMPRESSION)
        writer.write_batch(batch)
    if writer is not None:
        writer.close()


def _delimited(simulation: Simulation, log: Path, packed: bool) -> None:
    import pyarrow as pa
    import pyarrow.compute as pc
    from pyarrow import csv

    names, unit = header(simulation), time_unit(simulation)
    plain = csv.WriteOptions(include_header=False, quoting_style="none")
    with _out(log, packed) as file:
        file.write((",".join(names) + "\n").encode())
        for block in simulation.rows():
            batch = _table(block, unit, names)
            text = pc.strftime(batch.column(0), format="%Y-%m-%dT%H:%M:%SZ")
            part = pa.BufferOutputStream()
            csv.write_csv(pa.record_batch([text, *batch.columns[1:]], names=names), part, plain)
            file.write(part.getvalue().to_pybytes())


@contextmanager
def _out(log: Path, packed: bool) -> Iterator[BinaryIO]:
    with log.open("wb") as raw:
        if not packed:
            yield raw
            return
        # no name and no time inside, so that the bytes depend on the scenario alone
        with gzip.GzipFile(filename="", mode="wb", compresslevel=COMPRESSION, fileobj=raw, mtime=0) as file:
            yield cast(BinaryIO, file)


def line(block: Block, row: int) -> str:
    """One sample as a line of delimited text, without its end; what is not there is left empty.

    >>> line(Block(np.array([1_500_000]), np.array([12.5]), np.array([-0.02])), 0)
    '1970-01-01T00:00:01.500000Z,12.5,-0.02'
    """
    from monitor.base.fields import iso

    channels = [block.volts, block.amps, block.celsius]
    values = [float(channel[row]) for channel in channels if channel is not None]
    return ",".join([iso(int(block.t_us[row])), *("" if np.isnan(v) else repr(v) for v in values)])
