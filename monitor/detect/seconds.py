"""Samples → whole seconds of data time, gaps and counted charge.

The engine cuts on whole seconds itself, so arrival packets never reach the arithmetic: a second's figures depend on
its own samples and on the two samples before and the one after it, however the log was cut into blocks.

Charge is counted by trapezoids between samples that carry amps, none across gaps, booked in the second in which the
interval ends, in integers (nanocoulomb), so that every later sum is exact.

A gap is an interval much longer than both its neighbours: a logger that changes its rate for good (slow while asleep)
has no gap, one that fell silent has. Warm-up: the first sample opens no interval. Method: our own, see GAP_TIMES.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monitor.base.samples import SECOND_US, Block, Floats, Indexes, Ints, Seconds

GAP_TIMES = 5  # an interval over 5 × the longer of its neighbours is a gap; our choice: above any jitter of a logger
GAP_FLOOR_US = 2 * SECOND_US  # shorter ones never are; our choice: no detector needs finer continuity

EMPTY = Block(np.empty(0, np.int64), np.empty(0))


@dataclass(slots=True)
class BinnerState:
    """Rows of the unfinished second, the two row times before it, and what must be carried into the next interval.

    before      times of the last two rows already binned (fewer at the start of a log)
    amps_at     time and value of the last sample with amps, None before the first or after a gap
    celsius     last temperature that arrived, NaN before the first
    """

    pending: Block = EMPTY
    before: list[int] = field(default_factory=list)
    amps_at: tuple[int, float] | None = None
    celsius: float = float("nan")


@dataclass(frozen=True, slots=True)
class Binned:
    """Whole seconds, the samples they were made of, and the gaps that end in them (start, end in µs)."""

    seconds: Seconds
    samples: Block
    gaps: list[tuple[int, int]]


class Binner:
    """Cuts the stream on whole seconds of data time.

    >>> b = Binner()
    >>> out = b.update(Block(np.array([0, 500_000, 1_000_000]), np.array([12.0, 12.2, 12.4])))
    >>> out.seconds.volts.tolist()
    [12.1]
    """

    def __init__(self, gap_s: float | None = None) -> None:
        self.gap_us = None if gap_s is None else round(gap_s * SECOND_US)
        self.state = BinnerState()

    def update(self, block: Block) -> Binned:
        """The seconds that this block completed; the last second waits for the next block."""
        rows = _joined(self.state.pending, _with_volts_or_amps(block, self.state))
        if not len(rows):
            return Binned(Seconds.join([]), rows, [])
        last = rows.t_us[-1] // SECOND_US * SECOND_US
        whole = int(np.searchsorted(rows.t_us, last))
        self.state.pending = rows[whole:]
        return self._bin(rows, whole)

    def flush(self) -> Binned:
        """The unfinished second as it stands, when no more samples will come."""
        rows, self.state.pending = self.state.pending, EMPTY
        return self._bin(rows, len(rows))

    def _bin(self, rows: Block, whole: int) -> Binned:
        if whole == 0:
            return Binned(Seconds.join([]), rows[:0], [])
        state = self.state
        lengths, gaps = self._intervals(rows.t_us, whole)
        block = rows[:whole]
        starts = _starts(block.t_us)
        count = np.diff(starts, append=whole)
        charge = self._charge(block, gaps)
        net, size = np.add.reduceat(charge, starts), np.add.reduceat(np.abs(charge), starts)
        volts = _summary(block.volts, starts, count)
        amps = _summary(block.amps, starts, count)
        gap_us = np.zeros(len(starts), np.int64)
        np.add.at(gap_us, np.searchsorted(starts, gaps, side="right") - 1, lengths[gaps])
        spans = [(int(block.t_us[i] - lengths[i]), int(block.t_us[i])) for i in gaps]
        state.before = ([*state.before, *block.t_us[-2:].tolist()])[-2:]
        seconds = Seconds(
            block.t_us[starts] // SECOND_US,
            count,
            *volts,
            *amps,
            np.full(len(starts), np.nan) if block.celsius is None else block.celsius[starts + count - 1],
            (net + size) // 2,
            (size - net) // 2,
            np.add.reduceat(lengths, starts) - gap_us,
            gap_us,
        )
        return Binned(seconds, block, spans)

    def _intervals(self, t_us: Ints, whole: int) -> tuple[Ints, Indexes]:
        """Length of the interval that ends at each of the first `whole` rows (0: none), and the rows that end a gap."""
        before = self.state.before
        lengths = _steps(t_us[:whole], before[-1] if before else int(t_us[0]))
        least = GAP_FLOOR_US if self.gap_us is None else self.gap_us
        if lengths.max() <= least:  # nearly always; then nothing of this length need be made again
            return lengths, np.empty(0, np.intp)
        long = np.flatnonzero(lengths > least)
        if self.gap_us is not None:
            return lengths, long
        lead = len(before)
        known = np.concatenate([np.array(before, np.int64), t_us[: whole + 1]])
        intervals = np.concatenate([[0], np.diff(known), [0]])  # by the row they end at; 0 where there is none
        usual = np.maximum(intervals[long + lead - 1], intervals[long + lead + 1])
        return lengths, long[(lengths[long] > GAP_TIMES * usual) & (usual > 0)]

    def _charge(self, block: Block, gaps: Indexes) -> Ints:
        """Nanocoulomb of the interval that ends at each row; 0 where no amps or a gap."""
        state = self.state
        if block.amps is None:
            return np.zeros(len(block), np.int64)
        t_us, amps, ends = block.t_us, block.amps, gaps
        missing = np.isnan(amps)
        partly = bool(missing.any())
        if partly:
            valid = np.flatnonzero(~missing)
            t_us, amps, ends = t_us[valid], amps[valid], np.searchsorted(valid, gaps)
        if not len(t_us):
            if len(gaps):
                state.amps_at = None
            return np.zeros(len(block), np.int64)
        t0, a0 = state.amps_at or (int(t_us[0]), 0.0)
        each = np.empty(len(amps))  # step by step in one array: on fast logs most of the time goes into new ones
        each[0] = a0 + amps[0]
        np.add(amps[:-1], amps[1:], out=each[1:])
        each *= 0.5
        each *= _steps(t_us, t0)
        each *= 1000.0
        np.rint(each, out=each)
        inside = ends[ends < len(each)]
        each[inside] = 0.0
        state.amps_at = None if len(inside) < len(ends) else (int(t_us[-1]), float(amps[-1]))
        if not partly:
            return each.astype(np.int64)
        charge = np.zeros(len(block), np.int64)
        charge[valid] = each
        return charge


def _steps(t_us: Ints, before_us: int) -> Ints:
    """Length of the interval that ends at each row; `before_us` is the time before the first."""
    steps = np.empty_like(t_us)
    steps[0] = t_us[0] - before_us
    np.subtract(t_us[1:], t_us[:-1], out=steps[1:])
    return steps


def _starts(t_us: Ints) -> Ints:
    """Index of the first row of each second."""
    first, last = int(t_us[0]) // SECOND_US, int(t_us[-1]) // SECOND_US
    if last - first < len(t_us):  # on fast logs, finding the borders is cheaper than dividing each time
        borders = np.arange(first, last + 1) * SECOND_US
        starts = np.searchsorted(t_us, borders)
        return starts[np.diff(starts, append=len(t_us)) > 0]
    second = t_us // SECOND_US
    return np.concatenate([[0], np.flatnonzero(np.diff(second)) + 1])


def _summary(values: Floats | None, starts: Ints, count: Ints) -> tuple[Floats, Floats, Floats]:
    """Mean, minimum and maximum of each second; NaN where it holds no value."""
    if values is None:
        nothing = np.full(len(starts), np.nan)
        return nothing, nothing, nothing
    if len(starts) == len(values):
        return values, values, values
    low, high = np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts)
    total = np.add.reduceat(values, starts)
    if np.isnan(total).any():
        missing = np.isnan(values)
        valid = np.add.reduceat((~missing).astype(np.int64), starts)
        total = np.add.reduceat(np.where(missing, 0.0, values), starts)
        return np.where(valid > 0, total / np.maximum(valid, 1), np.nan), low, high
    return total / count, low, high


def _with_volts_or_amps(block: Block, state: BinnerState) -> Block:
    """Rows that carry volts or amps, each with the last temperature that arrived with it or before it."""
    celsius = block.celsius
    if celsius is None:
        if not np.isnan(state.celsius):
            celsius = np.full(len(block), state.celsius)
    elif len(celsius):
        if np.isnan(celsius).any():
            known = np.concatenate([[state.celsius], celsius])
            index = np.where(np.isnan(known), 0, np.arange(len(known)))
            celsius = known[np.maximum.accumulate(index)][1:]
        state.celsius = float(celsius[-1])
    keep = ~np.isnan(block.volts)
    if block.amps is not None and not keep.all():
        keep |= ~np.isnan(block.amps)
    if keep.all():
        return Block(block.t_us, block.volts, block.amps, celsius)
    amps = None if block.amps is None else block.amps[keep]
    return Block(block.t_us[keep], block.volts[keep], amps, None if celsius is None else celsius[keep])


def joined_blocks(blocks: list[Block]) -> Block:
    """Consecutive blocks as one; a channel that some of them lack is NaN there."""
    filled = [block for block in blocks if len(block)]
    if len(filled) <= 1:
        return filled[0] if filled else EMPTY

    def channel(values: list[Floats | None]) -> Floats | None:
        if all(each is None for each in values):
            return None
        gaps = [np.full(len(block), np.nan) for block in filled]
        return np.concatenate([gap if each is None else each for gap, each in zip(gaps, values, strict=True)])

    return Block(
        np.concatenate([block.t_us for block in filled]),
        np.concatenate([block.volts for block in filled]),
        channel([block.amps for block in filled]),
        channel([block.celsius for block in filled]),
    )


def _joined(first: Block, then: Block) -> Block:
    if not len(first):
        return then
    if not len(then):
        return first
    return Block(
        np.concatenate([first.t_us, then.t_us]),
        np.concatenate([first.volts, then.volts]),
        _joined_channel(first.amps, then.amps, len(first), len(then)),
        _joined_channel(first.celsius, then.celsius, len(first), len(then)),
    )


def _joined_channel(first: Floats | None, then: Floats | None, n_first: int, n_then: int) -> Floats | None:
    if first is None and then is None:
        return None
    left = np.full(n_first, np.nan) if first is None else first
    return np.concatenate([left, np.full(n_then, np.nan) if then is None else then])
