"""Rows: the seconds of a stand as the tracker of plateaus reads them, drains positive."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from monitor.base.samples import Bools, Floats, Ints, Seconds

CHARGE_A = 0.3  # more than this into the battery is charge, not sleep
FLOAT_V, FLOAT_A = 13.0, 0.02  # a full battery on a charger takes this little, at volts above any at rest


@dataclass(frozen=True, slots=True)
class Rows:
    """Seconds of a stand: drain (mean) and peak, A; volts; net charge out, nC; observed and gap, µs; samples."""

    second: Ints
    drain: Floats
    peak: Floats
    volts: Floats
    out_nc: Ints
    observed_us: Ints
    gap: Ints
    count: Ints

    def __len__(self) -> int:
        return len(self.second)

    def __getitem__(self, part: slice) -> Rows:
        return Rows(*(getattr(self, f.name)[part] for f in fields(self)))

    @staticmethod
    def of(seconds: Seconds, scale: float = 1.0) -> Rows:
        """Rows that carry amps and no charge into the battery; `scale` from 12 V to this battery."""
        rows = Rows(
            seconds.second,
            -seconds.amps,
            -seconds.amps_min,
            seconds.volts,
            seconds.out_nc - seconds.in_nc,
            seconds.observed_us,
            seconds.gap_us,
            seconds.count,
        )
        floats = (rows.volts >= FLOAT_V * scale) & (rows.drain < -FLOAT_A)
        keep = (rows.drain > -CHARGE_A) & ~floats  # False where unknown
        return rows if keep.all() else rows.where(keep)

    def where(self, keep: Bools) -> Rows:
        """The rows for which `keep` is true."""
        return Rows(*(getattr(self, f.name)[keep] for f in fields(self)))

    @staticmethod
    def join(parts: list[Rows]) -> Rows:
        """Concatenated in the given order."""
        parts = [p for p in parts if len(p)] or parts[:1]
        if len(parts) == 1:
            return parts[0]
        return Rows(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Rows)))


NONE = Rows.of(Seconds.join([]))
