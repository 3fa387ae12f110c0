"""Many lines of text in one piece of memory, as they go to a server; one is a string only where it is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import overload

import numpy as np

from monitor.base.samples import Ints


class Lines(Sequence[str]):
    """Lines of UTF-8, each ended by a newline; line i lies in data[offsets[i]:offsets[i + 1]].

    A slice is another view of the same memory.

    >>> lines = Lines.joined([["m x=1 5"], Lines(b"m x=2 6\\nm x=3 7\\n", np.array([0, 8, 16]))])
    >>> len(lines), lines[1], list(lines[1:]), body(lines[:2])
    (3, 'm x=2 6', ['m x=2 6', 'm x=3 7'], b'm x=1 5\\nm x=2 6')
    """

    __slots__ = ("_data", "_offsets")

    def __init__(self, data: bytes | memoryview, offsets: Ints) -> None:
        self._data, self._offsets = memoryview(data), offsets

    @classmethod
    def joined(cls, parts: Sequence[Sequence[str]]) -> Lines:
        """The lines of all parts, one after the other."""
        whole = [part if isinstance(part, Lines) else cls._of(part) for part in parts if len(part)]
        if len(whole) == 1:
            return whole[0]
        shifts = np.cumsum([0, *(size(part) for part in whole)])
        offsets = [part._offsets[1:] - part._offsets[0] + shift for part, shift in zip(whole, shifts, strict=False)]
        return cls(b"".join(part._bytes() for part in whole), np.concatenate([np.zeros(1, np.int64), *offsets]))

    @classmethod
    def _of(cls, lines: Sequence[str]) -> Lines:
        texts = [line.encode() for line in lines]
        offsets = np.cumsum([0, *(len(text) + 1 for text in texts)])
        return cls(b"\n".join([*texts, b""]), offsets)

    def __len__(self) -> int:
        return max(0, len(self._offsets) - 1)

    @overload
    def __getitem__(self, at: int) -> str: ...
    @overload
    def __getitem__(self, at: slice) -> Lines: ...
    def __getitem__(self, at: int | slice) -> str | Lines:
        if isinstance(at, slice):
            start, stop, _ = at.indices(len(self))
            return Lines(self._data, self._offsets[start : max(start, stop) + 1])
        row = range(len(self))[at]
        return bytes(self._data[self._offsets[row] : self._offsets[row + 1] - 1]).decode()

    def _bytes(self) -> memoryview:
        return self._data[self._offsets[0] : self._offsets[-1]]


def size(lines: Sequence[str]) -> int:
    """Bytes of the lines, or nearly: characters of strings, which are ASCII but for names."""
    if isinstance(lines, Lines):
        return int(lines._offsets[-1] - lines._offsets[0]) if len(lines) else 0
    return sum(map(len, lines)) + len(lines)


def body(lines: Sequence[str]) -> bytes:
    """The lines as a request carries them."""
    return bytes(lines._bytes()[:-1]) if isinstance(lines, Lines) else "\n".join(lines).encode()
