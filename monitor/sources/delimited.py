"""Delimited text → rows: one typed parse per chunk of lines, and a careful one for chunks that hold anything else.

The careful parse reads the same chunk as text, column by column, and says of each line that is no row what it is.
Both count lines alike, so a refused line is shown with the number that an editor gives it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from typing import Any

import numpy as np

from monitor.base.errors import InputError
from monitor.base.ledger import RefusedLine
from monitor.base.samples import Ints
from monitor.base.vehicle import LogSettings
from monitor.sources import times
from monitor.sources.cells import mark_figures, numbers_of
from monitor.sources.files import LogFile, open_stream
from monitor.sources.layout import find_layout, is_comment, split
from monitor.sources.lines import Chunk, chunks, count_lines, is_plain
from monitor.sources.readahead import read_ahead
from monitor.sources.rows import ABSENT, GOOD, Cells, Fault, Rows, fault, line_of, readable
from monitor.sources.zones import LocalClock, zone

CUT_OFF = "cut-off last line"
_SAMPLE_BYTES = 65536
_SAMPLE_LINES = 400


class DelimitedLog:
    """A delimited text log. Raises InputError when it has no header, no time or no rows."""

    def __init__(self, log: LogFile, settings: LogSettings) -> None:
        self.name = log.name
        self._log = log
        self.layout = find_layout(self.name, _first_lines(log), settings)
        self.channels = tuple(self.layout.channels)
        self.columns = tuple(c.strip() for c in split(self.layout.header.lstrip(" #/;"), self.layout.separator))
        self.unclear = self.layout.unclear
        self.relative = self.layout.time_plan.relative
        self._zone = None if settings.time.zone is None else zone(settings.time.zone)
        self._clock: LocalClock | None = None
        self.assumes_utc = self._zone is None and self.layout.time_plan.kind in ("local", "text")
        # Columns are told apart by their place, whatever the header calls them.
        self._names = [str(i) for i in range(self.layout.columns)]
        self._wanted = list(dict.fromkeys([*self.layout.time, *(s.column for s in self.layout.channels.values())]))

    def rows(self, progress: Callable[[int], None] | None = None) -> Generator[Rows, None, None]:
        """All rows in the order of the file; `progress` is told the bytes of the file read so far."""
        self._clock = None if self._zone is None else LocalClock(self._zone)
        stream = open_stream(self._log)
        try:
            # Reading and unpacking overlap the parsing.
            with closing(read_ahead(chunks(stream), depth=1)) as parts:
                for rows in self._rows(_below_header(parts, self.layout.header_lines)):
                    if progress is not None:
                        progress(stream.position())
                    yield rows
        finally:
            stream.close()

    def _rows(self, parts: Iterator[Chunk]) -> Iterator[Rows]:
        first = self.layout.header_lines + 1  # number of the first line of the chunk
        for chunk in parts:
            if not chunk.ended:
                yield self._unended(chunk, first)
                first += 1
                continue
            rows = self._typed(chunk.data, first)
            if rows is None:
                yield self._careful(chunk.data, first)
                first += count_lines(chunk.data)
            else:
                yield rows
                first += len(rows.t_us)

    # the fast way

    def _typed(self, data: bytes, first: int) -> Rows | None:
        """Rows of a chunk in which every line is a row of numbers (or blanks); None when it is not such."""
        import pyarrow as pa

        plan = self.layout.time_plan
        if plan.kind == "text" or len(self.layout.time) > 1:
            return None
        time_type = {
            "zoned": pa.timestamp("us", "UTC"),
            "local": pa.timestamp("us"),
            "number": pa.float64(),
        }[plan.kind]
        types = {str(s.column): pa.float64() for s in self.layout.channels.values()}
        types[str(self.layout.time[0])] = time_type
        try:
            table = self._parse(data, types)
        except pa.ArrowInvalid:
            return None
        if not is_plain(data, table.num_rows):
            return None
        time = _column(table, str(self.layout.time[0]))
        if time.null_count:
            return None
        t_us: Ints
        if plan.kind == "number":
            t_us, good = times.number_us(time.to_numpy(), plan)
            if not good.all():
                return None
        else:
            t_us = time.view(pa.int64()).to_numpy()
            if len(t_us) and not (t_us.min() >= 0 and t_us.max() < times.LATEST_US):
                return None
            if plan.kind == "local" and self._clock is not None:
                before = self._clock.state()
                t_us, exists = self._clock.to_utc(t_us)
                if not exists.all():
                    self._clock.rewind(before)
                    return None
        channels = {
            name: _scaled(_typed_cells(_column(table, str(source.column))), source.unit.scale * source.sign,
                          source.unit.offset * source.sign + 0.0)
            for name, source in self.layout.channels.items()
        }  # fmt: skip
        return Rows(t_us, channels, line_of(self.name, first, data))

    def _parse(self, data: bytes, types: dict[str, Any], handler: Callable[[Any], str] | None = None) -> Any:
        import pyarrow as pa
        from pyarrow import csv

        return csv.read_csv(
            pa.BufferReader(data),
            # No threads of pyarrow's: they may hold a buffer of ours until after the interpreter's end, and abort it
            # (known bug, apache/arrow 36389); the threads here are joined.
            read_options=csv.ReadOptions(column_names=self._names, block_size=max(len(data), 1), use_threads=False),
            parse_options=csv.ParseOptions(
                delimiter=self.layout.separator, ignore_empty_lines=False, invalid_row_handler=handler
            ),
            convert_options=csv.ConvertOptions(
                column_types=types,
                include_columns=[str(i) for i in self._wanted],
                null_values=[""],
                strings_can_be_null=False,
                check_utf8=False,
                decimal_point=self.layout.decimal,
            ),
        )

    # the careful way

    def _careful(self, data: bytes, first: int) -> Rows:
        import pyarrow as pa
        import pyarrow.compute as pc

        lines = [line.removesuffix(b"\r").replace(b"\r", b" ") for line in data.split(b"\n")[:-1]]
        lines = [line.decode("utf-8", errors="replace").encode() for line in lines]
        where = line_of(self.name, first, data)
        kept, faults = self._sort_out(lines, where)
        misfits: set[int] = set()

        def misfit(row: Any) -> str:
            misfits.add(row.number - 1)
            return "skip"

        types = {str(i): pa.string() for i in self._wanted}
        table = self._parse(b"".join(lines[i] + b"\n" for i in kept), types, misfit) if kept else None
        if misfits:
            faults.append(fault("wrong number of fields", [kept[i] for i in sorted(misfits)], where))
            kept = [line for i, line in enumerate(kept) if i not in misfits]
        if table is None or table.num_rows != len(kept):
            # Not seen: every kept line is one line to the parser. Should it be, nothing may vanish.
            if kept:
                faults.append(fault("not a row", kept, where))
            return self._nothing(where, faults)
        text = {i: pc.utf8_trim_whitespace(_column(table, str(i))) for i in self._wanted}
        t_us, reasons = self._times(text)
        index = np.array(kept, np.int64)
        for reason, bad in reasons.items():
            rows = index[bad].tolist()
            if rows:
                faults.append(fault(reason, rows, where))
        good = ~np.logical_or.reduce([np.zeros(len(index), np.bool_), *reasons.values()])
        channels = {}
        for name, source in self.layout.channels.items():
            values, flaws = numbers_of(text[source.column], self.layout.decimal)
            scale = source.unit.scale * source.sign
            channels[name] = _scaled(Cells(values[good], flaws[good]), scale, source.unit.offset * source.sign + 0.0)
        index = index[good]
        return Rows(t_us[good], channels, lambda row: where(int(index[row])), tuple(faults))

    def _sort_out(self, lines: list[bytes], where: Callable[[int], RefusedLine]) -> tuple[list[int], list[Fault]]:
        """Lines that may be rows, and the faults of the others; blank lines and remarks are neither."""
        kept: list[int] = []
        again: list[int] = []
        quotes: list[int] = []
        header = self.layout.header.encode()
        for index, line in enumerate(lines):
            if not line.strip() or is_comment(line[:8].decode("utf-8", "replace"), self.layout.separator):
                continue
            if header and line == header:
                again.append(index)
            elif line.count(b'"') % 2:
                quotes.append(index)
            else:
                kept.append(index)
        faults = [("header repeated", again), ("quote not closed", quotes)]
        return kept, [fault(reason, rows, where) for reason, rows in faults if rows]

    def _times(self, text: dict[int, Any]) -> tuple[Ints, dict[str, Any]]:
        """µs UTC, and per reason the rows that have no usable time."""
        import pyarrow.compute as pc

        plan = self.layout.time_plan
        cells = text[self.layout.time[0]]
        if len(self.layout.time) == 2:
            cells = pc.utf8_trim_whitespace(pc.binary_join_element_wise(cells, text[self.layout.time[1]], " "))
        missing = np.asarray(pc.equal(cells, ""))
        absent = np.zeros(len(missing), np.bool_)
        if plan.kind == "number":
            values, flaws = numbers_of(cells, self.layout.decimal)
            t_us, good = times.number_us(values, plan)
            good &= flaws == GOOD
        else:
            read = times.text_us(cells, plan.order)
            t_us, good = read.us.copy(), read.good
            local = np.flatnonzero(good & ~read.zoned)
            if self._clock is not None and len(local):
                t_us[local], exists = self._clock.to_utc(t_us[local])
                absent[local[~exists]] = True
        return t_us, {
            "no time": missing,
            "time not understood": ~good & ~missing,
            "local time that the clock change skips": absent,
        }

    def _unended(self, chunk: Chunk, number: int) -> Rows:
        """The rest of a file that no newline ends: never trusted, since a number cut short still reads as a number."""
        if chunk.broken is not None:
            line = RefusedLine(self.name, number, chunk.broken)
            return self._nothing(None, [Fault("packed data cut off or damaged", 1, (line,))])
        if not chunk.data.strip():
            return self._nothing(None, [])
        line = RefusedLine(self.name, number, readable(chunk.data))
        return self._nothing(None, [Fault(CUT_OFF, 1, (line,))])

    def _nothing(self, where: Callable[[int], RefusedLine] | None, faults: list[Fault]) -> Rows:
        empty = {name: Cells(np.empty(0)) for name in self.layout.channels}
        return Rows(np.empty(0, np.int64), empty, where or line_of(self.name, 1, b""), tuple(faults))


def _column(table: Any, name: str) -> Any:
    """A column as one array."""
    column = table.column(name)
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _typed_cells(column: Any) -> Cells:
    values = column.to_numpy(zero_copy_only=False)
    flaws = None
    if column.null_count:
        flaws = np.where(np.asarray(column.is_valid()), np.uint8(GOOD), np.uint8(ABSENT))
        mark_figures(values, flaws)
    return Cells(values, flaws)


def _scaled(cells: Cells, scale: float, offset: float) -> Cells:
    if scale == 1.0 and offset == 0.0:
        return cells
    return Cells(cells.values * scale + offset, cells.flaws)


def _first_lines(log: LogFile) -> list[str]:
    """The first lines as text; a last line that nothing ends is left out unless it is the only one."""
    stream = open_stream(log)
    try:
        first = next(chunks(stream, _SAMPLE_BYTES), None)
    finally:
        stream.close()
    if first is None or not first.data.strip():
        raise InputError(f"{log.name}: empty file", "check that the log was recorded and copied whole")
    try:
        text = first.data.decode("utf-8")
    except UnicodeDecodeError:
        text = first.data.decode("cp1252", errors="replace")
    return [line.removesuffix("\r") for line in text.split("\n")[:_SAMPLE_LINES]]


def _below_header(parts: Iterator[Chunk], header_lines: int) -> Iterator[Chunk]:
    """The chunks without the first `header_lines` lines."""
    skip = header_lines
    for part in parts:
        if skip == 0:
            yield part
            continue
        pieces = part.data.split(b"\n", skip)
        skip -= len(pieces) - 1
        if pieces[-1] or part.broken:
            yield Chunk(pieces[-1], part.ended, part.broken)
