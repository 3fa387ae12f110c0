"""The texture of a settled current: what varies without anything having happened.

Noise, the quantisation of the logger, a security lamp's flash and a keyless receiver's polling make the seconds of a
sleeping vehicle differ. Their mean belongs to the level; their spread sets how far a second must stand out.

- noise: median absolute first difference / 0.954 (Gaussian consistency: 0.6745 × √2), blind to steps and drift
- spikes: 98th percentile of the distance from a running median of three, so single seconds that recur in over 2 % of
  all (one in 50) are texture, while a step of any length is not
- quantum: the logger's step where few distinct values occur
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.base.samples import Floats

FLOOR_A = 0.005  # no excursion smaller than this is reported; our choice: half of the 10 mA a module typically adds
NOISE_TIMES = 5.2  # one false second in 10 million of Gaussian noise: none in a month of nights at 1 Hz
LEVEL_SHARE = 0.04  # loads that are awake vary with their own size; our choice
SPIKE_TIMES = 1.5  # margin over the spikes seen; our choice
QUANTUM_TIMES = 1.2  # a value may flicker to the neighbouring step; our choice
FEW_VALUES = 12  # so few distinct values in a frame show the logger's steps
ENOUGH = 10  # rows for a judgement of its own


@dataclass(frozen=True, slots=True)
class Texture:
    """Spread of the rows about their level, A."""

    noise_a: float = 0.0
    spikes_a: float = 0.0
    quantum_a: float = 0.0

    def band_a(self, level_a: float) -> float:
        """Half width of the band about a level within which nothing has happened, A.

        >>> Texture(noise_a=0.002).band_a(0.02)
        0.0104
        """
        return max(
            FLOOR_A,
            NOISE_TIMES * self.noise_a,
            LEVEL_SHARE * abs(level_a),
            SPIKE_TIMES * self.spikes_a,
            QUANTUM_TIMES * self.quantum_a,
        )


def texture_of(drain: Floats) -> Texture | None:
    """Texture of consecutive rows, shape (n,) A; None when they are too few to tell."""
    if len(drain) < ENOUGH:
        return None
    steps = np.abs(np.diff(drain))
    first, mid, last = drain[:-2], drain[1:-1], drain[2:]
    median3 = np.maximum(np.minimum(first, mid), np.minimum(np.maximum(first, mid), last))
    values = np.unique(drain)
    quantum = float(np.min(np.diff(values))) if 1 < len(values) <= FEW_VALUES else 0.0
    return Texture(
        float(np.median(steps)) / 0.954,
        float(np.quantile(np.abs(mid - median3), 0.98)),
        quantum,
    )
