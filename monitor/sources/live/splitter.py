"""Bytes as they come → whole lines. Only a terminated line is a line: a number cut short still reads as a number.

Lines end at newlines, or at carriage returns from a logger that uses nothing else. What they are cut into on the way
does not matter.
"""

from __future__ import annotations

from monitor.sources.lines import SHOWN_OF_LONG

LONGEST = 64 * 1024  # bytes; our choice: hundreds of columns, and what noise can pile up


class Splitter:
    """Joins what arrives and gives it line by line, each with its end as it came.

    A line longer than LONGEST is given up: its beginning is given, without an end, and the rest of it is passed over.

    >>> lines = Splitter()
    >>> lines.push(b"12.6,-0."), lines.push(b"02\\r\\n12"), lines.cut()
    ([], [b'12.6,-0.02\\r\\n'], b'12')
    """

    def __init__(self) -> None:
        self._rest = bytearray()
        self._returns: bool | None = None  # carriage returns end lines; None: not known yet
        self._skipping = False  # within a line that was given up

    @property
    def pending(self) -> int:
        """Bytes of a line that has not ended."""
        return len(self._rest)

    def push(self, data: bytes) -> list[bytes]:
        """The lines that end within `data`."""
        self._rest += data
        if self._returns is None:
            self._returns = _uses_returns(self._rest)
        lines: list[bytes] = []
        if self._returns is not None and (self._returns or b"\n" in data):
            if self._returns:
                self._rest = self._rest.replace(b"\r", b"\n")  # newlines beside them end lines too
            *whole, self._rest = self._rest.split(b"\n")
            lines = [bytes(line) + b"\n" if len(line) <= LONGEST else bytes(line[:SHOWN_OF_LONG]) for line in whole]
        if lines and self._skipping:
            del lines[0]
            self._skipping = False
        if len(self._rest) > LONGEST:
            if not self._skipping:
                lines.append(bytes(self._rest[:SHOWN_OF_LONG]))
            self._rest = bytearray()
            self._returns, self._skipping = None, True
        return lines

    def cut(self) -> bytes:
        """Nothing more comes: the line that has not ended; b"" when there is none."""
        rest = b"" if self._skipping else bytes(self._rest)
        self._rest = bytearray()
        self._returns, self._skipping = None, False
        return rest


def _uses_returns(data: bytearray) -> bool | None:
    """Whether carriage returns end lines: two of them before any newline, and something after them."""
    newline, first = data.find(b"\n"), data.find(b"\r")
    second = data.find(b"\r", first + 1) if first >= 0 else -1
    if second < 0 or 0 <= newline < second:
        return False if newline >= 0 else None
    after = data[second:].lstrip(b"\r")
    if not after:
        return None
    return not after.startswith(b"\n")
