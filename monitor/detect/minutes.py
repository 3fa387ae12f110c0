"""Canonical minutes: seconds gathered into whole minutes of data time, and a bounded table of them.

Everything is integer (micro-units), so sums are exact in any order, and a minute is worked on only when it is complete:
what comes out depends on the seconds alone, not on how they were cut into chunks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.base.samples import Floats, Ints

MINUTE_S = 60
MOST_BINS = 2048  # our choice: 34 h at one minute, a week at eight; about 130 kB of state
UNKNOWN = np.int64(2**40)  # an unknown value; sorts behind all known ones, and a minute of it cannot overflow a sum

WAYS = {"sum": np.add, "min": np.minimum, "max": np.maximum}


def micro(*channels: Floats) -> Ints:
    """Whole micro-units of channels of one length n, shape (channels, n); NaN becomes UNKNOWN.

    >>> micro(np.array([12.5, np.nan])).tolist() == [[12_500_000, int(UNKNOWN)]]
    True
    """
    scaled = np.array(channels)
    scaled *= 1e6
    np.rint(scaled, out=scaled)
    scaled[np.isnan(scaled)] = float(UNKNOWN)
    return scaled.astype(np.int64)


@dataclass(slots=True)
class OpenMinute:
    """The seconds of the minute that is not complete yet.

    second   shape (n,)
    flat     their channels one after the other, shape (channels * n,), micro-units (flat, so that it can be stored)
    """

    second: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    flat: Ints = field(default_factory=lambda: np.empty(0, np.int64))

    def values(self, channels: int) -> Ints:
        """The channels, shape (channels, n)."""
        return self.flat.reshape(channels, -1)

    def take(self, second: Ints, values: Ints) -> tuple[Ints, Ints]:
        """Add seconds, keep those of the last minute, and hand back all seconds of the minutes before it."""
        if not len(second):
            return second, values
        if len(self.second):
            values = np.concatenate((self.values(len(values)), values), axis=1)
            second = np.concatenate((self.second, second))
        cut = int(np.searchsorted(second, second[-1] // MINUTE_S * MINUTE_S))
        self.second = second[cut:].copy()
        self.flat = values[:, cut:].ravel()
        return second[:cut], values[:, :cut]


@dataclass(frozen=True, slots=True)
class Sorted:
    """Whole minutes with each channel's values in rising order.

    minute   shape (m,), minutes since 1970
    values   shape (channels, m, 60), micro-units; the known values first, then UNKNOWN
    known    shape (channels, m), how many are known
    """

    minute: Ints
    values: Ints
    known: Ints

    def middle_mean(self) -> Ints:
        """Mean of the middle half (interquartile mean) of each minute, shape (channels, m); UNKNOWN if none is known.

        Robust as a median against short events, and unlike a median it averages out a coarse logger resolution.
        """
        low = self.known // 4
        high = self.known - low
        channels, rows, _ = self.values.shape
        total = np.zeros((channels, rows, MINUTE_S + 1), np.int64)
        np.cumsum(self.values, axis=2, out=total[:, :, 1:])
        flat = total.reshape(-1)
        first = np.arange(0, flat.size, MINUTE_S + 1).reshape(channels, rows)
        width = high - low
        mean = (flat[first + high] - flat[first + low]) // np.maximum(width, 1)
        mean[width == 0] = UNKNOWN
        return np.asarray(mean)

    def rank(self, channel: int, share: float) -> Ints:
        """The value that `share` of a channel's known values do not exceed, shape (m,); UNKNOWN if none is known."""
        last = np.maximum(self.known[channel] - 1, 0)
        rows = np.arange(len(last))
        return np.asarray(self.values[channel, rows, (last * share + 0.5).astype(np.int64)])


def sort_minutes(second: Ints, values: Ints) -> Sorted:
    """Gather seconds (strictly increasing, shape (n,)) and their channels, shape (channels, n), into whole minutes."""
    minute = second // MINUTE_S
    fresh = np.ones(len(minute), bool)
    np.not_equal(minute[1:], minute[:-1], out=fresh[1:])
    keys = minute[fresh]
    place = (np.cumsum(fresh) - 1) * MINUTE_S + (second - minute * MINUTE_S)
    flat = np.full((len(values), len(keys) * MINUTE_S), UNKNOWN)
    flat[:, place] = values
    gathered = flat.reshape(len(values), len(keys), MINUTE_S)
    gathered.sort(axis=2)
    return Sorted(keys, gathered, np.count_nonzero(gathered != UNKNOWN, axis=2))


@dataclass(slots=True)
class MinuteTable:
    """A growing table of bins of `width` minutes; when it passes MOST_BINS, neighbours merge and the width doubles.

    key      shape (n,): minute // width, strictly increasing, holes where nothing was seen
    columns  arrays of shape (n,), int64
    how      per column "sum", "min" or "max": how bins merge. All three are exact and associative
    """

    how: list[str]
    width: int = 1
    key: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    columns: list[Ints] = field(default_factory=list)

    def fold(self, minute: Ints, columns: Sequence[Ints]) -> None:
        """Add whole minutes (strictly increasing and later than all before)."""
        if not len(minute):
            return
        old = self.columns or [np.empty(0, np.int64) for _ in self.how]
        key = minute // self.width
        if self.width > 1 or (len(self.key) and self.key[-1] == key[0]):
            tail = slice(max(len(self.key) - 1, 0), None)  # only the last bin can still grow
            rest = slice(0, tail.start)
            joined = [np.concatenate((c[tail], n)) for c, n in zip(old, columns, strict=True)]
            key, columns = self._merged(np.concatenate((self.key[tail], key)), joined)
            self.key, old = self.key[rest], [c[rest] for c in old]
        self.key = np.concatenate((self.key, key))
        self.columns = [np.concatenate(pair) for pair in zip(old, columns, strict=True)]
        while len(self.key) > MOST_BINS:
            self.width *= 2
            self.key, self.columns = self._merged(self.key // 2, self.columns)

    def _merged(self, key: Ints, columns: Sequence[Ints]) -> tuple[Ints, list[Ints]]:
        """Neighbours of one key made into one bin."""
        fresh = np.ones(len(key), bool)
        np.not_equal(key[1:], key[:-1], out=fresh[1:])
        starts = np.flatnonzero(fresh)
        return key[starts], [WAYS[how].reduceat(c, starts) for how, c in zip(self.how, columns, strict=True)]

    def copy(self) -> MinuteTable:
        """A table that can be folded into without touching this one (folding never writes into an array)."""
        return MinuteTable(self.how, self.width, self.key, list(self.columns))
