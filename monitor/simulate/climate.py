"""Air temperature over the days of a scenario."""

from __future__ import annotations

import numpy as np

from monitor.base.samples import Floats, Ints
from monitor.simulate.scenario import Scenario

WARMEST_H = 15.0  # of the local day


def air_celsius(scenario: Scenario, t_us: Ints) -> Floats:
    """Air temperature at the given µs UTC: a cosine through the day."""
    offset = scenario.start.utcoffset()
    zone_s = 0.0 if offset is None else offset.total_seconds()
    hour = (np.asarray(t_us, dtype=np.float64) / 1e6 + zone_s) / 3600.0
    swing = scenario.ambient.swing / 2.0
    return np.asarray(scenario.ambient.mean + swing * np.cos((hour - WARMEST_H) * 2 * np.pi / 24.0))
