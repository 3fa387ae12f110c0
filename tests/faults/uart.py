"""What a receiver makes of a sender at another baud rate: the line bit by bit, sampled in the middle of each bit.

A UART waits for the falling edge of a start bit, reads eight bits, least significant first, and waits for the line to
be high again. A byte without its stop bit is handed on all the same, as a terminal does.
"""

import numpy as np


def at_another_rate(data: bytes, sent: int, read: int, most: int = 3000) -> bytes:
    """The first bytes a receiver at `read` baud gives for 8N1 data sent at `sent` baud, back to back."""
    frames = [[0, *((byte >> bit) & 1 for bit in range(8)), 1] for byte in data]
    line = np.array([1] * 20 + [bit for frame in frames for bit in frame] + [1] * 20)
    falls = np.flatnonzero((line[:-1] == 1) & (line[1:] == 0)) + 1
    step = sent / read  # bits sent in one bit read
    found = bytearray()
    at = 0.0
    while len(found) < most and (next_fall := int(np.searchsorted(falls, at))) < len(falls):
        start = int(falls[next_fall])
        bits = [int(line[min(int(start + (1.5 + k) * step), len(line) - 1)]) for k in range(8)]
        found.append(sum(bit << k for k, bit in enumerate(bits)))
        at = start + 9.5 * step
    return bytes(found)
