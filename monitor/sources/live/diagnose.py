"""What bytes are that are no lines of a log: those of another baud rate, something binary, or another text.

A receiver at another rate than the sender's takes wrong bits for the bits of a byte. Few such bytes are ASCII text,
with one exception: at half the sender's rate it sees every other bit, and two digits become one of eight characters.
For 8N1 and digits 0x30 to 0x39 these bits are, least significant first, b2 1 0 1 b0' b2' 1 0.
"""

from __future__ import annotations

from monitor.sources.rows import readable

ENOUGH = 24  # bytes; our choice: fewer tell nothing
# Our choice. Of the lines of three dialects, sent and read at all pairs of rates from 1,200 to 115,200 baud, at least
# 0.33 of the bytes were no text, or 0.4 halved digits; logs are nearly all ASCII (a sign of degrees is 1 in 20), and
# the halved digits are 0.02 of the letters of a text.
NOISE = 0.25
_TEXT = bytes(range(0x20, 0x7F)) + b"\t\r\n"
_HALVED_DIGITS = b"JKZ[jkz{"


def is_noise(data: bytes) -> bool:
    """Whether so many of these bytes are no text that the sender speaks at another rate, or does not speak text.

    >>> is_noise(b"2024-01-01T00:00:00Z,12.61,-0.021\\r\\n"), is_noise(bytes([0, 0x80, 0xFE, 0x1C] * 10))
    (False, True)
    """
    return len(data) >= ENOUGH and len(data.translate(None, _TEXT)) >= NOISE * len(data)


def is_halved(data: bytes) -> bool:
    """Whether these are the lines of a sender at twice our rate.

    >>> is_halved(b"JIZIIJJzKJJJYJ9J" * 2), is_halved(b"boot: hello from the bootloader")
    (True, False)
    """
    return len(data) >= ENOUGH and len(data) - len(data.translate(None, _HALVED_DIGITS)) >= NOISE * len(data)


def excerpt(data: bytes) -> str:
    """The last line, or what there is of it, to be shown."""
    lines = [line for line in data.splitlines() if line.strip()]
    return readable(lines[-1][-60:]) if lines else ""
