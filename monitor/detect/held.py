"""A plateau being held: its level, its texture, and batch means of bounded number for its interval."""

from __future__ import annotations

from dataclasses import dataclass, field

from monitor.detect.texture import Texture

ESTABLISH_S = 180  # a level held for less is a stage of the shutdown
AWAKE_A, AWAKE_S = 0.1, 1200  # …and above 100 mA (published sleep levels run to 80 mA) 20 min, the usual wait
LOADED_A, LOADED_S = 1.0, 3600  # above 1 A an hour: leak tests and lamps take 45 min
BATCHES = 64  # batch means kept per plateau; pairs merge when full


@dataclass(slots=True)
class Held:
    """A plateau being held: its bounds (s), the level that follows it, and batch means (mean A, observed s).

    now_a           mean of the last rows in band: a figure to tell, where the level is one to compare with
    lift_a          how far the mean lies above the lower quartile
    lows_a, low_a   the last quartiles that were followed, and the very last; `jumped`: it was off them, up or down
    """

    start_s: int
    end_s: int
    level_a: float
    texture: Texture
    means: list[float] = field(default_factory=list)
    weights: list[float] = field(default_factory=list)
    per_batch: int = 1
    waiting: list[tuple[float, float]] = field(default_factory=list)
    now_a: float | None = None
    lift_a: float = 0.0
    lows_a: list[float] = field(default_factory=list)
    low_a: float | None = None
    jumped: int = 0
    recent: list[float] = field(default_factory=list)
    known: bool = False
    volts_sum: float = 0.0
    volts_weight: float = 0.0

    def add(self, mean_a: float, observed_s: float, volts: float) -> None:
        """Book one frame's in-band rows."""
        self.waiting.append((mean_a, observed_s))
        if len(self.waiting) == self.per_batch:
            weight = sum(w for _, w in self.waiting)
            self.means.append(sum(m * w for m, w in self.waiting) / weight)
            self.weights.append(weight)
            self.waiting = []
        if len(self.means) > BATCHES:
            pairs = range(0, len(self.means) - 1, 2)
            weights = [self.weights[k] + self.weights[k + 1] for k in pairs]
            self.means = [
                (self.means[k] * self.weights[k] + self.means[k + 1] * self.weights[k + 1]) / weights[k // 2]
                for k in pairs
            ] + self.means[2 * len(weights) :]
            self.weights = weights + self.weights[2 * len(weights) :]
            self.per_batch *= 2
        if volts == volts:
            self.volts_sum += volts * observed_s
            self.volts_weight += observed_s

    def mean_a(self) -> float:
        """Mean level, weighted by observed time; the followed level while nothing is booked."""
        pairs = [*zip(self.means, self.weights, strict=True), *self.waiting]
        weight = sum(w for _, w in pairs)
        return sum(m * w for m, w in pairs) / weight if weight else self.level_a

    def is_established(self) -> bool:
        """Whether it was held long enough to be no stage of a shutdown."""
        mean = self.mean_a()
        needed = ESTABLISH_S if mean <= AWAKE_A else AWAKE_S if mean <= LOADED_A else LOADED_S
        return self.end_s - self.start_s >= needed

    def volts(self) -> float | None:
        """Mean volts in band."""
        return self.volts_sum / self.volts_weight if self.volts_weight else None
