"""Calm: while the vehicle stands and every second is as the last look left it, nothing new can be seen.

Between looks ten minutes apart the delays of the alarms run on with what was seen last, so "as it was" is meant
strictly: each second within CALM_V (for 12 V) of the volts and within three bands or CALM_A of the sleep current, the
mean of each minute within a band or CALM_MEAN_A of that of the last look. Our choice: above noise and flashes, below
what a limit is set on. Without current the volts alone must do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.base.samples import Seconds
from monitor.detect.now import StandNow
from monitor.limits.observe import Look

CALM_V, CALM_A, CALM_TIMES, CALM_MEAN_A = 0.1, 0.03, 3.0, 0.003


@dataclass(frozen=True, slots=True)
class Calm:
    """Lowest and highest volts and amps of a second, and mean amps of a minute, of a vehicle where nothing goes on."""

    low_v: float
    high_v: float
    low_a: float = -np.inf
    high_a: float = np.inf
    least_a: float = -np.inf
    most_a: float = np.inf

    def holds(self, parts: list[Seconds]) -> bool:
        """Whether these seconds of one minute are calm; unknown ones are."""
        means = []
        for part in parts:
            volts, amps = part.volts, part.amps
            if (volts < self.low_v).any() or (volts > self.high_v).any():
                return False
            if (amps < self.low_a).any() or (amps > self.high_a).any():
                return False
            means.append(amps[np.isfinite(amps)])
        known = np.concatenate(means) if means else np.empty(0)
        return not len(known) or bool(self.least_a <= float(np.mean(known)) <= self.most_a)


def calm_after(look: Look) -> Calm | None:
    """What is calm after this look; None: something goes on, or may."""
    stand, recent = look.open, look.recent
    volts, amps = recent.volts[np.isfinite(recent.volts)], recent.amps[np.isfinite(recent.amps)]
    if not isinstance(stand, StandNow) or not len(volts):
        return None
    middle, width = float(np.median(volts)), CALM_V * look.facts.scale
    if not stand.amps:
        return Calm(middle - width, middle + width)
    if stand.level_a is None or stand.awake_us is not None or not len(amps):
        return None
    about, near, mean = max(CALM_TIMES * stand.band_a, CALM_A), max(stand.band_a, CALM_MEAN_A), float(np.mean(amps))
    level = -stand.level_a
    return Calm(middle - width, middle + width, level - about, level + about, mean - near, mean + near)
