"""The texture of a settled current: what varies without anything having happened.

Noise, the quantisation of the logger, a security lamp's flash and a keyless receiver's polling make the seconds of a
sleeping vehicle differ. Their mean belongs to the level; their spread sets how far a second must stand out.

- noise: mean of the smaller three quarters of the absolute first differences / 0.728 (Gaussian consistency), blind to
  steps and drift, and finer than the logger's quantum
- wander: spread below the median or the level, (lower of the two − 5th percentile) / 1.645, blind to excursions, which
  point up
- spikes: single rows that stand out of calm neighbours, if they recur (SPIKES_MANY in a frame)
- quantum: the logger's step where few distinct values occur
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from monitor.base.samples import Floats

FLOOR_A = 0.005  # no excursion smaller than this is reported; our choice: half of the 10 mA a module typically adds
NOISE_TIMES = 5.2  # one false second in 10 million of Gaussian noise: none in a month of nights at 1 Hz
NOISY_SHARE = 0.7  # noise and wander of plain noise differ by less; of loads that wander by more; our choice
LEVEL_SHARE = 0.04  # loads that are awake vary with their own size; our choice
WANDER_TIMES = 4.5  # the same for loads that wander slowly; our choice: rarely independent, so rarely extreme
WANDER_GROWS = 1.5  # a frame; our choice
SPIKE_MOST_A = 0.25  # more is a module's, however short: flash, polling and receiver (100 mA, published) together
SPIKE_TIMES = 1.4  # margin over the spikes seen; our choice
SPIKES_MANY = 4  # so many single rows in ten minutes are texture; our choice: oftener than every 2.5 min
SPIKES_SINGLE = 2  # …where a row is one sample, which a receiver's pulse may fill
# a running median of 9 rows is blind to spikes up to 3 % of all rows: 1 false row in 300,000…
SPIKE_ROWS, SPIKES_FEW = 9, 0.03
MORE_ROWS, SPIKES_DENSE = 15, 0.08  # …one of 15 to spikes up to 8 %: 1 in 9 million
SPIKES_FADE = 0.9  # a frame; our choice: remembered for about two hours
QUANTUM_TIMES = 1.2  # a value may flicker to the neighbouring step; our choice
FEW_VALUES = 12  # so few distinct values in a frame show the logger's steps
ENOUGH = 10  # rows for a judgement of its own


@dataclass(frozen=True, slots=True)
class Texture:
    """Spread of the rows about their level, A."""

    noise_a: float = 0.0
    wander_a: float = 0.0
    spikes_a: float = 0.0
    quantum_a: float = 0.0
    spike_share: float = 0.0

    def after(self, before: Texture) -> Texture:
        """This texture, remembering spikes, which come and go with the logger's beat, and the logger's step.

        Wander grows from frame to frame; what it would gain at once is a step within the frame.
        """
        return replace(
            self,
            wander_a=min(self.wander_a, max(WANDER_GROWS * before.wander_a, WANDER_GROWS * self.noise_a)),
            spikes_a=max(self.spikes_a, SPIKES_FADE * before.spikes_a),
            spike_share=max(self.spike_share, SPIKES_FADE * before.spike_share),
            quantum_a=self.quantum_a or before.quantum_a,
        )

    @property
    def median_rows(self) -> int:
        """Rows of the running median that frees this texture of its spikes."""
        return SPIKE_ROWS if self.spike_share <= SPIKES_FEW else MORE_ROWS

    def steady_a(self, level_a: float) -> float:
        """Half width of the band about a level for rows freed of single spikes (`without_spikes`), A.

        >>> round(Texture(noise_a=0.002).steady_a(0.02), 6)
        0.0104
        """
        steady = max(
            FLOOR_A,
            NOISE_TIMES * self.noise_a,
            WANDER_TIMES * self.wander_a,
            LEVEL_SHARE * abs(level_a),
            QUANTUM_TIMES * self.quantum_a,
        )
        return max(steady, SPIKE_TIMES * self.spikes_a) if self.spike_share > SPIKES_DENSE else steady

    def is_noisy(self, band_a: float) -> bool:
        """Whether it is noise that makes a band as wide as that: then means of rows tell more than rows do."""
        return NOISE_TIMES * self.noise_a >= NOISY_SHARE * band_a and band_a > FLOOR_A

    def band_a(self, level_a: float) -> float:
        """Half width of the band about a level within which nothing has happened, A: single rows may reach it."""
        return max(self.steady_a(level_a), SPIKE_TIMES * self.spikes_a)


def without_spikes(values: Floats, rows: int = SPIKE_ROWS) -> Floats:
    """Running median of `rows` (odd), same shape: what is shorter than half of them is gone, anything longer stays."""
    half = rows // 2
    if len(values) < rows:
        return values
    padded = np.concatenate([np.repeat(values[:1], half), values, np.repeat(values[-1:], half)])
    middle: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, rows), axis=1)
    return middle


def noise_of(changes: Floats) -> float:
    """Standard deviation of noise from absolute first differences, shape (n,), of which a quarter may be anything, A.

    Of |d|, d Gaussian with √2 σ, the mean below its third quartile (1.150 √2 σ) is 2 (φ(0) − φ(1.150)) / 0.75 · √2 σ.

    >>> rng = np.random.default_rng(1)
    >>> round(noise_of(np.abs(np.diff(rng.normal(0.0, 3.0, 100_000)))), 1)
    3.0
    """
    kept = (3 * len(changes)) // 4
    return float(np.mean(np.partition(changes, kept)[:kept])) / 0.728 if kept else 0.0


def texture_of(excess: Floats, calm_a: float, many: int = SPIKES_MANY) -> Texture | None:
    """Texture of consecutive rows about their level, shape (n,) A; those further off than `calm_a` are left out.

    `many`: so many single rows make spikes. None when the calm rows are too few to tell.
    """
    calm = excess[np.abs(excess) <= calm_a]
    if len(calm) < ENOUGH:
        return None
    low, half = len(calm) // 20, len(calm) // 2
    ranked = np.partition(calm, (low, half))
    middle = float(ranked[half])
    wander = (
        max(min(middle, 0.0) - float(ranked[low]), 0.0) / 1.645
    )  # a weak excursion that fills the frame lifts the median
    fine = np.round(calm, 6)  # µA: finer than any logger, coarser than what arithmetic leaves
    values = np.unique(fine) if len(np.unique(fine[: 4 * FEW_VALUES])) <= FEW_VALUES else fine[:0]
    quantum = float(np.min(np.diff(values))) if 1 < len(values) <= FEW_VALUES else 0.0
    changes = np.abs(calm[1:] - calm[:-1])
    noise = noise_of(changes)
    neighbours = np.maximum(excess[:-2], excess[2:])
    spikes = excess[1:-1] - neighbours
    spikes = spikes[neighbours <= middle + max(FLOOR_A, NOISE_TIMES * noise, WANDER_TIMES * wander)]
    spikes = spikes[spikes <= SPIKE_MOST_A]
    spike = float(np.partition(spikes, -many)[-many]) if len(spikes) > many else 0.0
    share = np.count_nonzero(spikes > max(FLOOR_A, NOISE_TIMES * noise)) / len(excess)
    return Texture(noise, wander, max(spike, 0.0), quantum, share)
