"""Rows: the seconds of a stand as the tracker of plateaus reads them, drains positive."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from monitor.base.samples import Bools, Floats, Ints, Seconds

CHARGE_A = 0.3  # more than this into the battery is charge, not sleep
FLOAT_V, FLOAT_A = 13.0, 0.02  # a full battery on a charger takes this little, at volts above any at rest


@dataclass(frozen=True, slots=True)
class Rows:
    """Seconds of a stand: drain (mean) and peak, A; volts; net charge out, nC; observed and gap, µs; samples;

    charged_us: charge seen since the row before, µs.
    """

    second: Ints
    drain: Floats
    peak: Floats
    volts: Floats
    out_nc: Ints
    observed_us: Ints
    gap: Ints
    count: Ints
    charged_us: Ints

    def __len__(self) -> int:
        return len(self.second)

    def __getitem__(self, part: slice) -> Rows:
        return Rows(*(getattr(self, name)[part] for name in NAMES))

    @staticmethod
    def of(seconds: Seconds, scale: float = 1.0, charged_us: int = 0) -> tuple[Rows, int]:
        """Rows that carry amps and no charge into the battery; `scale` from 12 V to this battery.

        `charged_us`: charge seen since the last such row; with the rows comes what was seen since the last of them.
        """
        drain = -seconds.amps
        floats = (seconds.volts >= FLOAT_V * scale) & (drain < -FLOAT_A)
        keep = (drain > -CHARGE_A) & ~floats  # False where unknown
        lost = np.where(keep | np.isnan(drain), 0, seconds.observed_us)
        so_far = np.concatenate([[0], charged_us + np.cumsum(lost)])
        at_kept = np.concatenate([[0], so_far[1:][keep]])
        rows = Rows(
            seconds.second,
            drain,
            -seconds.amps_min,
            seconds.volts,
            seconds.out_nc - seconds.in_nc,
            seconds.observed_us,
            seconds.gap_us,
            seconds.count,
            np.zeros(len(drain), np.int64),
        )
        kept = rows if keep.all() else rows.where(keep)
        return replace(kept, charged_us=np.diff(at_kept)), int(so_far[-1] - at_kept[-1])

    def where(self, keep: Bools) -> Rows:
        """The rows for which `keep` is true."""
        return Rows(*(getattr(self, name)[keep] for name in NAMES))

    @staticmethod
    def join(parts: list[Rows]) -> Rows:
        """Concatenated in the given order."""
        parts = [p for p in parts if len(p)] or parts[:1]
        if len(parts) == 1:
            return parts[0]
        return Rows(*(np.concatenate([getattr(p, name) for p in parts]) for name in NAMES))


NAMES = tuple(f.name for f in fields(Rows))  # asked for at each slice
NONE = Rows.of(Seconds.join([]))[0]
