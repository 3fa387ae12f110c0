"""Closed days as Parquet, one file a day of UTC, that `keyoff replay`, pandas and DuckDB read.

A file appears whole or not at all: written under another name, on the medium before it is renamed, and read back and
compared before anything is deleted from the journal. A crash between any two steps costs only the work.

Columns: time (timestamp in µs, UTC), volts, and amps and celsius where the day has them; null where nothing is known.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from monitor.base.errors import StoreError
from monitor.base.fields import EPOCH
from monitor.base.samples import Block, Floats, Ints
from monitor.store import codec, schema
from monitor.store.disk import Disk
from monitor.store.home import Home

DAY_US = 86_400_000_000
GROUP_ROWS = 65_536  # rows of a row group; our choice: what a reader holds in memory at a time
_PAGE_RECORDS = 2000  # records read from the journal at a time; our choice
_LEVEL = 9  # of zstd; our choice: written once a day, read often
UNFINISHED = ".part"

Columns = tuple[Ints, Floats, Floats | None, Floats | None]


@dataclass(frozen=True, slots=True)
class Rolled:
    """A day that lies in the archive, and how its samples lay in the stream (see codec.pack_index)."""

    day: int
    last_position: int
    samples: int
    size_bytes: int
    lay: bytes
    unreadable: int


def day_of(t_us: int) -> int:
    """Days since 1970-01-01 UTC.

    >>> day_of(86_399_999_999), day_of(86_400_000_000)
    (0, 1)
    """
    return t_us // DAY_US


def day_name(day: int) -> str:
    """The date of a day.

    >>> day_name(1)
    '1970-01-02'
    """
    return (EPOCH + timedelta(days=day)).date().isoformat()


def day_path(home: Home, day: int) -> Path:
    """Where a day lies."""
    return home.archive / f"{day_name(day)}.parquet"


def write_day(connection: sqlite3.Connection, home: Home, disk: Disk, day: int) -> Rolled:
    """Write the samples of a closed day; raises OSError, StoreError when the file does not read back as written."""
    import pyarrow.parquet as pq

    first, last = _positions(connection, day)
    bits = _channels(connection, first, last)
    home.archive.mkdir(exist_ok=True)
    path = day_path(home, day)
    part = path.with_name(path.name + UNFINISHED)
    book, columns_of = _Book(), schema_of(codec.channel_names(bits))
    with pq.ParquetWriter(part, columns_of, compression="zstd", compression_level=_LEVEL) as writer:
        for columns in _groups(connection, first, last, book):
            writer.write_table(table(columns, columns_of))
    if _checksum(part) != book.checksum:
        raise StoreError(f"{part}: does not read back as it was written", "check the disk", "failing")
    disk.sync(part)
    disk.rename(part, path)
    disk.sync(home.archive)
    lay = codec.pack_index(book.positions, book.counts, book.bits)
    return Rolled(day, last, sum(book.counts), path.stat().st_size, lay, book.unreadable)


def _positions(connection: sqlite3.Connection, day: int) -> tuple[int, int]:
    """First and last position of a day that a later one follows."""
    first = connection.execute("SELECT first_position FROM day WHERE day = ?", (day,)).fetchone()[0]
    later = connection.execute("SELECT min(first_position) FROM day WHERE day > ?", (day,)).fetchone()[0]
    last = connection.execute(
        "SELECT max(position) FROM feed WHERE position >= ? AND position < ? AND kind = ?", (first, later, schema.BLOCK)
    ).fetchone()[0]
    return first, later - 1 if last is None else last


def _channels(connection: sqlite3.Connection, first: int, last: int) -> int:
    """Channels that any block of the day has; the ninth byte of a block says which."""
    found = connection.execute(
        "SELECT DISTINCT hex(substr(data, 9, 1)) FROM feed WHERE position BETWEEN ? AND ? AND kind = ?",
        (first, last, schema.BLOCK),
    )
    bits = 0
    for (text,) in found:
        bits |= int(text or "0", 16)
    return bits & 3


@dataclass(slots=True)
class _Book:
    """What went into the file: the lay of the records, and a checksum over all columns."""

    positions: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    bits: list[int] = field(default_factory=list)
    unreadable: int = 0
    checksum: int = 0

    def note(self, position: int, block: Block) -> None:
        """A record of the day."""
        self.positions.append(position)
        self.counts.append(len(block))
        self.bits.append(codec.channels_of(block))

    def checked(self, columns: Columns) -> Columns:
        """The same columns, once they are in the checksum."""
        self.checksum = _add(self.checksum, columns)
        return columns


def _groups(connection: sqlite3.Connection, first: int, last: int, book: _Book) -> Iterator[Columns]:
    """The day in groups of GROUP_ROWS; a channel that some blocks lack is NaN there."""
    waiting: list[Block] = []
    rows = 0
    for page in _pages(connection, first, last):
        for (position, count, _), block in zip(page, codec.decode_all([data for _, _, data in page]), strict=True):
            if block is None:
                book.unreadable += count
                continue
            book.note(position, block)
            waiting.append(block)
            rows += len(block)
            if rows >= GROUP_ROWS:
                yield book.checked(joined(waiting))
                waiting, rows = [], 0
    if waiting:
        yield book.checked(joined(waiting))


def _pages(connection: sqlite3.Connection, first: int, last: int) -> Iterator[list[tuple[int, int, bytes]]]:
    while True:
        page = connection.execute(
            "SELECT position, count, data FROM feed WHERE position BETWEEN ? AND ? AND kind = ?"
            " ORDER BY position LIMIT ?",
            (first, last, schema.BLOCK, _PAGE_RECORDS),
        ).fetchall()
        if not page:
            return
        yield page
        first = page[-1][0] + 1


def joined(blocks: list[Block]) -> Columns:
    """Columns of consecutive blocks; NaN where one of them lacks a channel that another has, None where all lack it."""

    def column(name: str) -> Floats | None:
        parts = [getattr(block, name) for block in blocks]
        if all(part is None for part in parts):
            return None
        filled = [np.full(len(b), np.nan) if p is None else p for b, p in zip(blocks, parts, strict=True)]
        return np.concatenate(filled)

    volts = column("volts")
    assert volts is not None
    return np.concatenate([block.t_us for block in blocks]), volts, column("amps"), column("celsius")


def _add(checksum: int, columns: Columns) -> int:
    """Carry on a checksum; which NaN it is does not count, and a column of nothing counts as none."""
    for index, column in enumerate(columns):
        if column is None or (index and np.isnan(column).all()):
            continue
        plain = column if index == 0 else np.where(np.isnan(column), np.nan, column)
        checksum = zlib.crc32(np.ascontiguousarray(plain).tobytes(), checksum + index)
    return checksum


def schema_of(channels: Sequence[str]) -> Any:
    """The Arrow schema of a file with these channels."""
    import pyarrow as pa

    return pa.schema([("time", pa.timestamp("us", "UTC")), *((name, pa.float64()) for name in channels)])


def table(columns: Columns, arrow_schema: Any) -> Any:
    """An Arrow table of these columns; what is not known is null."""
    import pyarrow as pa

    t_us, volts, amps, celsius = columns
    given = {"volts": volts, "amps": amps, "celsius": celsius}
    arrays = [pa.array(t_us, pa.timestamp("us", "UTC"))]
    for name in arrow_schema.names[1:]:
        values = given[name]
        if values is None:
            arrays.append(pa.nulls(len(t_us), pa.float64()))
        else:
            arrays.append(pa.array(values, mask=np.isnan(values)))
    return pa.Table.from_arrays(arrays, schema=arrow_schema)


def _checksum(path: Path) -> int:
    checksum = 0
    with DayFile(path) as file:
        for group in range(file.groups):
            checksum = _add(checksum, file.group(group))
    return checksum


class ArchivedDay:
    """Rows of one archived day, a row group of them in memory at a time. `sizes`: rows of each group."""

    def __init__(self, sizes: Sequence[int]) -> None:
        self.sizes, self.groups = sizes, len(sizes)
        self._starts = np.cumsum([0, *sizes])
        self._held: tuple[int, Columns] | None = None

    @property
    def rows(self) -> int:
        """How many there are."""
        return int(self._starts[-1])

    def group(self, index: int) -> Columns:
        """Columns of one row group."""
        if self._held is None or self._held[0] != index:
            self._held = index, self._read(index)
        return self._held[1]

    def slice(self, start: int, end: int) -> Block:
        """Rows [start, end)."""
        parts = []
        while start < end:
            group = int(np.searchsorted(self._starts, start, "right")) - 1
            begin, stop = int(self._starts[group]), min(end, int(self._starts[group + 1]))
            parts.append(Block(*self.group(group))[start - begin : stop - begin])
            start = stop
        return parts[0] if len(parts) == 1 else Block(*joined(parts))

    def close(self) -> None:
        """Let go of the file."""

    def _read(self, index: int) -> Columns:
        raise NotImplementedError


class DayFile(ArchivedDay):
    """The same of a file that this process reads. Raises OSError, and ValueError where it is none of ours."""

    def __init__(self, path: Path) -> None:
        import pyarrow.parquet as pq

        # Not buffered ahead and without pyarrow's threads: a whole file would lie in memory.
        self._file = pq.ParquetFile(path, pre_buffer=False)
        meta = self._file.metadata
        super().__init__([meta.row_group(i).num_rows for i in range(meta.num_row_groups)])

    @property
    def bits(self) -> int:
        """Channels beside volts."""
        names = self._file.schema_arrow.names
        return codec.bits_of("amps" in names, "celsius" in names)

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _read(self, index: int) -> Columns:
        read = self._file.read_row_group(index, use_threads=False)
        t_us = read.column("time").combine_chunks().cast("int64").to_numpy(zero_copy_only=False)
        volts, amps, celsius = (
            read.column(name).combine_chunks().to_numpy(zero_copy_only=False).astype(np.float64)
            if name in read.column_names
            else None
            for name in ("volts", "amps", "celsius")
        )
        assert volts is not None
        return t_us.astype(np.int64), volts, amps, celsius

    def __enter__(self) -> DayFile:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def group_sizes(path: Path) -> list[int] | None:
    """Rows of each row group of a day's file; None: it is not there, or unreadable."""
    try:
        with DayFile(path) as file:
            return list(file.sizes)
    except (OSError, ValueError):  # pyarrow's errors are among these
        return None


def read_group(path: Path, index: int) -> Columns:
    """One row group of a day's file."""
    with DayFile(path) as file:
        return file.group(index)
