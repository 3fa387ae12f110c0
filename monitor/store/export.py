"""A span of the journal as a log file: delimited text, Parquet or SenML, which `keyoff replay` reads back exactly.

Times are UTC with microseconds, figures have all their digits, amps are + into the battery. The file appears whole or
not at all.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, cast

from monitor.base.errors import SettingError
from monitor.base.fields import iso
from monitor.base.samples import SECOND_US, Block
from monitor.store.archive import UNFINISHED, schema_of, table
from monitor.store.database import told
from monitor.store.disk import Disk
from monitor.store.span import Span

ENDINGS = (".csv", ".csv.gz", ".parquet", ".senml")
PACK_ROWS = 1000  # samples of a SenML pack; our choice: one a line, so that a reader need not hold the whole file
_UNITS = {"volts": "V", "amps": "A", "celsius": "Cel"}  # RFC 8428 §12.1
_LEVEL = 9

Write = Callable[[Block], None]


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written: samples, and the times (µs) of the first and the last."""

    samples: int
    first_us: int
    last_us: int

    def __str__(self) -> str:
        return f"{self.samples:,} samples from {iso(self.first_us)} to {iso(self.last_us)}"


def ending(path: Path) -> str:
    """Ending of the file's name; raises SettingError when it is none that can be written.

    >>> ending(Path("night.csv.gz"))
    '.csv.gz'
    """
    found = next((end for end in ENDINGS if path.name.endswith(end) and path.name != end), None)
    if found is None:
        raise SettingError(f"{path}: not a log's ending", f"name a file that ends in {', '.join(ENDINGS)}")
    return found


def export(span: Span, path: Path, disk: Disk | None = None) -> Exported:
    """Write all samples of the span; raises SettingError, StoreError, and InputError when there are none."""
    disk = disk or Disk()
    part = path.with_name(f".{path.name}{UNFINISHED}")
    writer = _WRITERS[ending(path)]
    samples, first, last = 0, 0, 0
    with told(path, "written"):
        try:
            with writer(part, span.channels) as write:
                for block in span.blocks():
                    write(block)
                    first = first if samples else int(block.t_us[0])
                    samples, last = samples + len(block), int(block.t_us[-1])
            disk.sync(part)
            disk.rename(part, path)
        except BaseException:  # an interrupt too leaves no half file
            disk.remove(part)
            raise
    return Exported(samples, first, last)


@contextmanager
def _parquet(path: Path, channels: tuple[str, ...]) -> Iterator[Write]:
    import pyarrow.parquet as pq

    schema = schema_of(channels)
    with pq.ParquetWriter(path, schema, compression="zstd", compression_level=_LEVEL) as writer:
        yield lambda block: writer.write_table(table(_columns(block), schema))


@contextmanager
def _delimited(path: Path, channels: tuple[str, ...], packed: bool = False) -> Iterator[Write]:
    import pyarrow as pa
    import pyarrow.compute as pc
    from pyarrow import csv

    schema = schema_of(channels)
    plain = csv.WriteOptions(include_header=False, quoting_style="none")
    with _out(path, packed) as file:
        file.write((",".join(schema.names) + "\n").encode())

        def write(block: Block) -> None:
            rows = table(_columns(block), schema)
            text = pc.strftime(rows.column(0), format="%Y-%m-%dT%H:%M:%SZ")
            text_buffer = pa.BufferOutputStream()
            csv.write_csv(rows.set_column(0, "time", text), text_buffer, plain)
            file.write(text_buffer.getvalue().to_pybytes())

        yield write


@contextmanager
def _packed(path: Path, channels: tuple[str, ...]) -> Iterator[Write]:
    with _delimited(path, channels, packed=True) as write:
        yield write


@contextmanager
def _senml(path: Path, channels: tuple[str, ...]) -> Iterator[Write]:
    with path.open("wb") as file:

        def write(block: Block) -> None:
            for start in range(0, len(block), PACK_ROWS):
                pack = list(_records(block[start : start + PACK_ROWS]))
                file.write(json.dumps(pack, separators=(",", ":"), allow_nan=False).encode() + b"\n")

        yield write


def _records(block: Block) -> Iterator[dict[str, Any]]:
    """The readings of a block as SenML records, each with its own time (§4.5.3), in order of time.

    >>> import numpy as np
    >>> list(_records(Block(np.array([1_500_000]), np.array([12.5]))))
    [{'n': 'volts', 'u': 'V', 't': 1.5, 'v': 12.5}]
    """
    given = {"volts": block.volts, "amps": block.amps, "celsius": block.celsius}
    columns = [(name, values.tolist()) for name, values in given.items() if values is not None]
    for row, t_us in enumerate(block.t_us.tolist()):
        for name, values in columns:
            if values[row] == values[row]:  # NaN: no reading, no record
                yield {"n": name, "u": _UNITS[name], "t": t_us / SECOND_US, "v": values[row]}


@contextmanager
def _out(path: Path, packed: bool) -> Iterator[IO[bytes]]:
    with path.open("wb") as raw:
        if not packed:
            yield raw
            return
        with gzip.GzipFile(filename="", mode="wb", compresslevel=_LEVEL, fileobj=raw) as file:
            yield cast(IO[bytes], file)


def _columns(block: Block) -> Any:
    return block.t_us, block.volts, block.amps, block.celsius


_WRITERS = {".csv": _delimited, ".csv.gz": _packed, ".parquet": _parquet, ".senml": _senml}
