"""A stream of bytes in chunks of whole lines, so that any chunk can be parsed, and counted, on its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.sources.files import Stream

CHUNK = 2 << 20  # bytes; our choice: long enough for the parser's threads, some 45,000 rows, short enough for memory
LONGEST_LINE = 8 << 20  # bytes; our choice: nothing longer is a line of a log


@dataclass(frozen=True, slots=True)
class Chunk:
    """Whole lines, each ended by a newline.

    data   the bytes
    first  number of the first line, counted from 1
    ended  False for the rest of a file that no newline ends, or of a line too long to be one
    broken in words, why the stream ended here before its end; None as a rule
    """

    data: bytes
    first: int
    ended: bool = True
    broken: str | None = None


def chunks(stream: Stream, size: int = CHUNK) -> Iterator[Chunk]:
    """Cut a stream at line ends. Only a newline ends a line; a lone carriage return does so where no newline is used."""
    rest = b""
    line = 1
    returns: bool | None = None  # lone carriage returns end lines, as some old loggers write
    while True:
        try:
            data = stream.read(size)
        except (OSError, EOFError) as error:  # packed data cut off or damaged
            if rest:
                yield Chunk(rest, line, ended=False)
            yield Chunk(b"", line + bool(rest), ended=False, broken=str(error))
            return
        if not data:
            break
        if returns is None and (b"\n" in data or b"\r" in data):
            returns = b"\n" not in data and data.count(b"\r") > 1
        if returns:
            data = data.replace(b"\r", b"\n")
        whole = rest + data if rest else data
        cut = whole.rfind(b"\n") + 1
        if cut:
            chunk = whole[:cut] if cut < len(whole) else whole
            yield Chunk(chunk, line)
            line += count_lines(chunk)
            rest = whole[cut:]
        else:
            rest = whole
        if len(rest) > LONGEST_LINE:
            yield Chunk(rest[:1000], line, ended=False)
            rest = b""  # its remainder up to the next newline is refused as a line of its own
    if rest:
        yield Chunk(rest, line, ended=False)


def count_lines(data: bytes) -> int:
    """Newlines in the data; an order of magnitude faster than bytes.count on short lines."""
    import numpy as np

    return int(np.count_nonzero(np.frombuffer(data, np.uint8) == 10))
