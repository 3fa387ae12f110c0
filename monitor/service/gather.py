"""Blocks that came one after the other, joined for one entry of the journal."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np

from monitor.base.samples import Block, Floats


def gathered(blocks: Sequence[Block]) -> list[Block]:
    """The blocks joined, as few as there are changes of the channels.

    >>> one = Block(np.array([1]), np.array([12.5]))
    >>> two = Block(np.array([2]), np.array([12.6]), np.array([-0.02]))
    >>> [len(block) for block in gathered([one, two, two[:0], two])]
    [1, 2]
    """
    full = [block for block in blocks if len(block)]
    return [_joined(list(alike)) for _, alike in groupby(full, lambda b: (b.amps is None, b.celsius is None))]


def _joined(blocks: list[Block]) -> Block:
    if len(blocks) == 1:
        return blocks[0]
    return Block(
        np.concatenate([block.t_us for block in blocks]),
        np.concatenate([block.volts for block in blocks]),
        _channel([block.amps for block in blocks]),
        _channel([block.celsius for block in blocks]),
    )


def _channel(parts: list[Floats | None]) -> Floats | None:
    there = [part for part in parts if part is not None]
    return np.concatenate(there) if there else None


def size(block: Block) -> int:
    """Bytes of its arrays."""
    return sum(part.nbytes for part in (block.t_us, block.volts, block.amps, block.celsius) if part is not None)
