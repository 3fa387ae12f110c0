"""Rows of a damaged journal that SQLite cannot lead to any more: looked for in each page of the file by itself.

Follows the file format that SQLite documents (sqlite.org/fileformat2.html: §1.6 b-tree pages, §2.1 records): leaves of
tables are recognised by their first byte, their cells are read on their own. What is found is only taken when it checks
out: samples carry a checksum, orders and findings must read as what they are.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

_LEAF = 0x0D  # §1.6: a leaf of a table
_WAL_HEAD, _FRAME_HEAD = 32, 24  # §4.1
_LARGEST = 1 << 24  # bytes of a row that is believed; our choice
_FIXED = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}  # §2.1: bytes of an integer of each serial type

Row = tuple[int, tuple[Any, ...]]


def rows(path: Path, page_bytes: int) -> Iterator[Row]:
    """(rowid, columns) of all rows of tables in the file and in its write-ahead log, stale ones among them."""
    with path.open("rb") as file:
        size = path.stat().st_size
        for start in range(0, size - page_bytes + 1, page_bytes):
            file.seek(start)
            yield from _leaf(file.read(page_bytes), 100 if start == 0 else 0, file, page_bytes)
        log = path.with_name(path.name + "-wal")
        if log.exists():
            with log.open("rb") as frames:
                frames.seek(_WAL_HEAD)
                while len(frame := frames.read(_FRAME_HEAD + page_bytes)) == _FRAME_HEAD + page_bytes:
                    first = struct.unpack_from(">I", frame)[0] == 1
                    yield from _leaf(frame[_FRAME_HEAD:], 100 if first else 0, file, page_bytes)


def _leaf(page: bytes, start: int, file: Any, page_bytes: int) -> Iterator[Row]:
    if page[start] != _LEAF:
        return
    (cells,) = struct.unpack_from(">H", page, start + 3)
    for index in range(min(cells, page_bytes // 4)):
        try:
            (at,) = struct.unpack_from(">H", page, start + 8 + 2 * index)
            size, at = _varint(page, at)
            rowid, at = _varint(page, at)
            if not 0 < size < _LARGEST:
                continue
            yield rowid, _record(_payload(page, at, size, file, page_bytes))
        except (IndexError, struct.error, ValueError):
            continue


def _payload(page: bytes, at: int, size: int, file: Any, page_bytes: int) -> bytes:
    """A row's bytes, those on overflow pages among them (§1.6, "Cell payload overflow pages")."""
    if size <= page_bytes - 35:
        return page[at : at + size]
    least = (page_bytes - 12) * 32 // 255 - 23
    here = least + (size - least) % (page_bytes - 4)
    here = here if here <= page_bytes - 35 else least
    found = [page[at : at + here]]
    (following,) = struct.unpack_from(">I", page, at + here)
    missing = size - here
    while missing > 0 and following:
        file.seek((following - 1) * page_bytes)
        more = file.read(page_bytes)
        (following,) = struct.unpack_from(">I", more)
        found.append(more[4 : 4 + missing])
        missing -= page_bytes - 4
    return b"".join(found)


def _record(data: bytes) -> tuple[Any, ...]:
    """Columns of a record (§2.1)."""
    head, at = _varint(data, 0)
    kinds: list[int] = []
    while at < head:
        kind, at = _varint(data, at)
        kinds.append(kind)
    columns: list[Any] = []
    for kind in kinds:
        if kind in _FIXED:
            length = _FIXED[kind]
            columns.append(int.from_bytes(_part(data, at, length), "big", signed=True))
        elif kind in (0, 8, 9):
            length = 0
            columns.append(None if kind == 0 else kind - 8)
        elif kind >= 12:
            length = (kind - 12) // 2
            columns.append(_part(data, at, length) if kind % 2 == 0 else _part(data, at, length).decode())
        else:
            raise ValueError("a kind of column that the journal does not write")
        at += length
    return tuple(columns)


def _part(data: bytes, at: int, length: int) -> bytes:
    if at + length > len(data):
        raise ValueError("cut short")
    return data[at : at + length]


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A variable-length integer (§1.6) and where it ends.

    >>> _varint(bytes([0x81, 0x00]), 0)
    (128, 2)
    """
    value = 0
    for index in range(8):
        byte = data[at + index]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + index + 1
    value = value << 8 | data[at + 8]
    return (value - (1 << 64) if value >> 63 else value), at + 9
