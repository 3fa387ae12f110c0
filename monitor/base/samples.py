"""Samples in blocks, and the per-second summary that the detectors eat.

Time is integer microseconds since 1970-01-01 UTC. Amps are in battery convention: + into the battery, − out of it.
An unknown value is NaN, never 0; an absent channel is None.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Indexes = npt.NDArray[np.intp]

SECOND_US = 1_000_000


@dataclass(frozen=True, slots=True)
class Block:
    """Consecutive samples as arrays of one length, shape (n,); the one structure that flows from a source.

    t_us     int64, strictly increasing, also from one block to the next
    volts    float64 V at the battery posts; NaN where this row carries none
    amps     float64 A, + into the battery; NaN where this row carries none; None: the log has no such channel
    celsius  float64 °C; NaN and None as for amps
    """

    t_us: Ints
    volts: Floats
    amps: Floats | None = None
    celsius: Floats | None = None

    def __len__(self) -> int:
        return len(self.t_us)

    def __getitem__(self, part: slice) -> Block:
        """Samples of the given slice, as views.

        >>> b = Block(np.array([0, 5]), np.array([12.5, 12.6]))
        >>> b[1:].volts.tolist()
        [12.6]
        """
        return Block(
            self.t_us[part],
            self.volts[part],
            None if self.amps is None else self.amps[part],
            None if self.celsius is None else self.celsius[part],
        )


@dataclass(frozen=True, slots=True)
class Seconds:
    """Summaries of whole seconds of data time that hold at least one sample; arrays of one length, shape (n,).

    second       int64, whole seconds since 1970 UTC; strictly increasing, holes where the log has no sample
    count        int64, samples in that second
    volts, volts_min, volts_max   float64 V; NaN where the second carries none
    amps, amps_min, amps_max      float64 A; all NaN when the log has no amps
    celsius      float64 °C; NaN where unknown
    in_nc, out_nc    int64, charge into and out of the battery in nanocoulomb (1e-9 As), trapezoids between samples,
                     each interval booked where it ends; integers, so that sums are exact in any order
    observed_us  int64, observed time booked here (intervals that end in this second and are not gaps)
    gap_us       int64, unobserved time that ends in this second (0: none)
    """

    second: Ints
    count: Ints
    volts: Floats
    volts_min: Floats
    volts_max: Floats
    amps: Floats
    amps_min: Floats
    amps_max: Floats
    celsius: Floats
    in_nc: Ints
    out_nc: Ints
    observed_us: Ints
    gap_us: Ints

    def __len__(self) -> int:
        return len(self.second)

    def __getitem__(self, part: slice) -> Seconds:
        """Seconds of the given slice, as views."""
        return Seconds(*(getattr(self, name)[part] for name in NAMES))

    @staticmethod
    def join(parts: list[Seconds]) -> Seconds:
        """Concatenate in the given order; an empty list gives empty arrays."""
        if len(parts) == 1:
            return parts[0]
        return Seconds(
            *(
                np.concatenate([getattr(p, name) for p in parts]) if parts else np.empty(0, _dtype(name))
                for name in NAMES
            )
        )


def _dtype(name: str) -> type:
    whole = {"second", "count", "in_nc", "out_nc", "observed_us", "gap_us"}
    return np.int64 if name in whole else np.float64


NAMES = tuple(f.name for f in fields(Seconds))  # asked for at each slice
