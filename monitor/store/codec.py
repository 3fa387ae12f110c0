"""Blocks ↔ bytes, exact to the last bit, with a checksum: damaged bytes never become a figure.

Layout, little endian: CRC-32 of the rest, count, which channels, whether packed; then, packed with zlib where that is
shorter, the first time as int64, the steps between times as int32 or int64, and each channel as float64.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from monitor.base.samples import Block, Floats, Ints

_HEAD = struct.Struct("<IIBB")
_AMPS, _CELSIUS = 1, 2  # bits of the channels beside volts
_PACKED, _LONG_STEPS = 1, 2
_LEVEL = 1  # of zlib; our choice: measured, a higher level saves nothing on blocks of ten samples


class DamagedBlockError(ValueError):
    """The bytes are not those that were written."""


def channels_of(block: Block) -> int:
    """Which channels beside volts a block has, as bits: 1 amps, 2 celsius."""
    return bits_of(block.amps is not None, block.celsius is not None)


def bits_of(amps: bool, celsius: bool) -> int:
    """The bits that say these channels."""
    return (_AMPS if amps else 0) | (_CELSIUS if celsius else 0)


def has_amps(bits: int) -> bool:
    """Whether these bits say amps."""
    return bool(bits & _AMPS)


def has_celsius(bits: int) -> bool:
    """Whether these bits say celsius."""
    return bool(bits & _CELSIUS)


def channel_names(bits: int) -> tuple[str, ...]:
    """Names of the channels: volts, and what the bits say.

    >>> channel_names(2)
    ('volts', 'celsius')
    """
    return ("volts", *["amps"] * has_amps(bits), *["celsius"] * has_celsius(bits))


def encode(block: Block) -> bytes:
    """Bytes of a block of at least one sample.

    >>> b = Block(np.array([10, 20]), np.array([12.5, float("nan")]))
    >>> decode(encode(b)).t_us.tolist(), decode(encode(b)).amps
    ([10, 20], None)
    """
    steps = np.diff(block.t_us)
    long = bool(len(steps)) and int(steps.max()) > np.iinfo(np.int32).max
    parts = [np.asarray(block.t_us[:1], "<i8").tobytes(), steps.astype("<i8" if long else "<i4").tobytes()]
    parts += [np.asarray(c, "<f8").tobytes() for c in (block.volts, block.amps, block.celsius) if c is not None]
    body = b"".join(parts)
    packed = zlib.compress(body, _LEVEL)
    is_packed = len(packed) < len(body)
    flags = (_PACKED if is_packed else 0) | (_LONG_STEPS if long else 0)
    rest = _HEAD.pack(0, len(block), channels_of(block), flags)[4:] + (packed if is_packed else body)
    return struct.pack("<I", zlib.crc32(rest)) + rest


def decode(data: bytes) -> Block:
    """The block of these bytes; raises DamagedBlockError."""
    (found,) = decode_all([data])
    if found is None:
        raise DamagedBlockError("the checksum of a block of samples does not fit")
    return found


@dataclass(frozen=True, slots=True)
class _Alike:
    """Blocks of one size and the same channels: where each stood, and columns of shape (blocks, samples)."""

    places: list[int]
    t_us: Ints
    channels: tuple[Floats | None, Floats | None, Floats | None]


def decode_all(many: Sequence[bytes]) -> list[Block | None]:
    """The blocks of these bytes; None where the bytes are not those that were written.

    Blocks of one size lie in common arrays, so that a page of one-second records costs little more than its bytes.
    """
    found: list[Block | None] = [None] * len(many)
    for alike in _decoded(many):
        nothing = [None] * len(alike.places)
        columns: list[Any] = [nothing if column is None else column for column in alike.channels]
        for index, t_us, volts, amps, celsius in zip(alike.places, alike.t_us, *columns, strict=True):
            found[index] = Block(t_us, volts, amps, celsius)
    return found


def decode_together(many: Sequence[bytes]) -> Block | None:
    """Consecutive blocks of the same channels as one; None where one cannot be read, or has others."""
    found = _decoded(many)
    kinds = {tuple(column is None for column in alike.channels) for alike in found}
    if len(kinds) != 1 or sum(len(alike.places) for alike in found) < len(many):
        return None
    t_us = np.concatenate([alike.t_us.ravel() for alike in found])
    columns = [_flat(parts) for parts in zip(*(alike.channels for alike in found), strict=True)]
    if len(found) > 1:  # not all of one size: the times, which only grow, say the order
        order = np.argsort(t_us)
        t_us, columns = t_us[order], [None if column is None else column[order] for column in columns]
    volts, amps, celsius = columns
    assert volts is not None
    return Block(t_us, volts, amps, celsius)


def _flat(parts: Sequence[Floats | None]) -> Floats | None:
    there = [part.ravel() for part in parts if part is not None]
    return np.concatenate(there) if there else None


def _decoded(many: Sequence[bytes]) -> list[_Alike]:
    """What can be read of these bytes."""
    alike: dict[tuple[int, int, int], list[tuple[int, bytes]]] = {}
    head, unpack, checksum_of, decompress = _HEAD.size, _HEAD.unpack_from, zlib.crc32, zlib.decompress
    for index, data in enumerate(many):  # once a record: a backlog has millions
        if len(data) < head:
            continue
        checksum, count, bits, flags = unpack(data)
        if checksum != checksum_of(data[4:]):
            continue
        body = data[head:]
        kind = count, bits, 8 if flags & _LONG_STEPS else 4
        member = index, decompress(body) if flags & _PACKED else body
        if kind in alike:
            alike[kind].append(member)
        else:
            alike[kind] = [member]
    return [_columns(members, *kind) for kind, members in alike.items()]


def _columns(members: list[tuple[int, bytes]], count: int, bits: int, width: int) -> _Alike:
    rows = np.frombuffer(b"".join(body for _, body in members), np.uint8).reshape(len(members), -1)
    t_us = np.empty((len(members), count), np.int64)
    at = 8 + width * (count - 1)
    t_us[:, :1] = rows[:, :8].copy().view("<i8")
    np.cumsum(rows[:, 8:at].copy().view(f"<i{width}"), axis=1, out=t_us[:, 1:])
    t_us[:, 1:] += t_us[:, :1]
    columns: list[Floats | None] = []
    for there in (True, has_amps(bits), has_celsius(bits)):
        columns.append(rows[:, at : at + 8 * count].copy().view("<f8") if there else None)
        at += 8 * count if there else 0
    return _Alike([index for index, _ in members], t_us, (columns[0], columns[1], columns[2]))


def pack_index(positions: list[int], counts: list[int], bits: list[int]) -> bytes:
    """How the samples of a day lie in records: position, count and channels of each; packs to nearly nothing.

    >>> [column.tolist() for column in unpack_index(pack_index([3, 5], [10, 9], [1, 1]))]
    [[3, 5], [10, 9], [1, 1]]
    """
    columns = [np.diff(np.array(positions, "<i8"), prepend=0), np.array(counts, "<i8"), np.array(bits, "<i8")]
    return zlib.compress(np.concatenate(columns).astype("<i8").tobytes(), 6)


def unpack_index(data: bytes) -> tuple[Ints, Ints, Ints]:
    """Positions, counts and channels, each int64 of one length."""
    steps, counts, bits = np.frombuffer(zlib.decompress(data), "<i8").astype(np.int64).reshape(3, -1)
    return np.cumsum(steps), counts, bits
