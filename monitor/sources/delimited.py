"""Delimited text → rows: one typed parse per chunk of lines, and a careful one for chunks that hold anything else.

The careful parse reads the same chunk as text, column by column, and says of each line that is no row what it is.
Both count lines alike, so a refused line is shown with the number that an editor gives it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from zoneinfo import ZoneInfo

import numpy as np

from monitor.base.errors import InputError
from monitor.base.ledger import RefusedLine
from monitor.base.vehicle import LogSettings
from monitor.sources.careful import careful_rows
from monitor.sources.files import LogFile, open_stream
from monitor.sources.layout import find_layout, split
from monitor.sources.lines import CHUNK, Chunk, chunks
from monitor.sources.readahead import read_ahead
from monitor.sources.rows import Cells, Fault, Rows, readable
from monitor.sources.typed import typed_rows
from monitor.sources.zones import LocalClock

_SAMPLE_BYTES = 65536
_SAMPLE_LINES = 400


class DelimitedLog:
    """A delimited text log. Raises InputError when it has no header, no time or no rows."""

    def __init__(self, log: LogFile, settings: LogSettings, chunk_bytes: int = CHUNK) -> None:
        self.name = log.name
        self._log = log
        self._chunk_bytes = chunk_bytes
        self.layout = find_layout(self.name, _first_lines(log), settings)
        self.channels = tuple(self.layout.channels)
        self.columns = tuple(c.strip() for c in split(self.layout.header.lstrip(" #/;"), self.layout.separator))
        self.unclear = self.layout.unclear
        self.relative = self.layout.time_plan.relative
        self._zone = None if settings.time.zone is None else ZoneInfo(settings.time.zone)
        self._clock: LocalClock | None = None
        self.assumes_utc = self._zone is None and self.layout.time_plan.kind in ("local", "text")

    def rows(self, progress: Callable[[int], None] | None = None) -> Generator[Rows, None, None]:
        """All rows in the order of the file; `progress` is told the bytes of the file read so far."""
        self._clock = None if self._zone is None else LocalClock(self._zone)
        stream = open_stream(self._log)
        try:
            # Reading and unpacking overlap the parsing.
            with closing(read_ahead(chunks(stream, self._chunk_bytes), depth=1)) as parts:
                for rows in self._rows(_below_header(parts, self.layout.header_lines)):
                    if progress is not None:
                        progress(stream.position())
                    yield rows
        finally:
            stream.close()

    def _rows(self, parts: Iterator[Chunk]) -> Iterator[Rows]:
        first = self.layout.header_lines + 1  # number of the first line of the chunk
        for chunk in parts:
            if chunk.flaw is not None:
                yield self._flawed(chunk.data, chunk.flaw, first)
                first += 1
                continue
            rows = typed_rows(self.name, self.layout, self._clock, chunk.data, first)
            if rows is None:
                rows = careful_rows(self.name, self.layout, self._clock, chunk.data, first)
            yield rows
            first += rows.lines

    def _flawed(self, data: bytes, flaw: str, number: int) -> Rows:
        """What is no whole line; a last line without a newline neither, since a number cut short still reads as one."""
        empty = {name: Cells(np.empty(0)) for name in self.layout.channels}
        line = RefusedLine(self.name, number, readable(data))
        return Rows(np.empty(0, np.int64), empty, lambda row: line, (Fault(flaw, 1, (line,)),) if data.strip() else ())


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
        if pieces[-1]:
            yield Chunk(pieces[-1], part.flaw)
