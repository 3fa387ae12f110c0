"""What stays of samples when the disk is short: the first, the extremes and the last of each second."""

from __future__ import annotations

import numpy as np

from monitor.base.samples import SECOND_US, Block, Bools, Floats


def thinned(block: Block) -> Block:
    """Of each whole second the first sample, those with the lowest and highest volts and amps, and the last.

    >>> b = Block(np.arange(6) * 100_000, np.array([12.0, 12.1, 9.0, 12.2, 12.1, 12.0]))
    >>> thinned(b).volts.tolist()
    [12.0, 9.0, 12.2, 12.0]
    """
    seconds = block.t_us // SECOND_US
    starts = np.concatenate([[0], np.flatnonzero(np.diff(seconds)) + 1]).astype(np.intp)
    ends = np.concatenate([starts[1:], [len(block)]])
    keep = np.zeros(len(block), np.bool_)
    keep[starts] = keep[ends - 1] = True
    for channel in (block.volts, block.amps):
        if channel is not None:
            for start, end in zip(starts, ends, strict=True):
                _extremes(channel[start:end], keep[start:end])
    return Block(
        block.t_us[keep],
        block.volts[keep],
        None if block.amps is None else block.amps[keep],
        None if block.celsius is None else block.celsius[keep],
    )


def _extremes(values: Floats, keep: Bools) -> None:
    if not np.isnan(values).all():
        keep[int(np.nanargmin(values))] = keep[int(np.nanargmax(values))] = True
