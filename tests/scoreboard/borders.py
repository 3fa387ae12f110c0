"""Settling by ruptures: optimal change points of the first hour of a stand, beside what the engine says of it.

Truong, Oudre & Vayatis, Selective review of offline change point detection methods, Signal Processing 167 (2020).
Least squares, and it is told how many stages there are, which the engine is not; only hours that hold the whole
shutdown and no wake-up are judged, since a wake-up is two more change points.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.base.results import Result, Stand
from monitor.base.samples import SECOND_US, Block
from monitor.simulate import Simulation
from tests.scoreboard.matching import match
from tests.scoreboard.score import Score, of_errors
from tests.scoreboard.scores import FAR_S, SETTLED_S, SETTLED_SHARE
from tests.scoreboard.sight import Sight

HOUR_S = 3600
ASLEEP_LEAST_S = 600  # of the hour, so that the last level is one
LEAST_ROWS = 5
MOST_WINDOWS = 2  # a log, since one takes a fifth of a second


def settling_by_change_points(
    simulation: Simulation, found: Result, blocks: Sequence[Block]
) -> tuple[Score, Score, int]:
    """Errors of settled_at of ruptures and of the engine over the same hours, and the number of hours."""
    sight = Sight.of(simulation)
    hours = [stand for stand in simulation.truth.stands if _is_whole(sight, stand)][:MOST_WINDOWS]
    done = match(hours, found.stands, sight.window_us(FAR_S), lambda s: s.start, lambda s: s.start)
    told = {true.start: other for true, other in done.pairs}
    stages = len(simulation.scenario.vehicle.shutdown) + (simulation.scenario.vehicle.follow_me_home is not None)
    theirs, ours, missed = [], [], 0
    for stand in hours:
        assert stand.settled_at is not None  # it is whole
        allowed = max(SETTLED_S, SETTLED_SHARE * (stand.time_to_sleep_s or 0.0)) + sight.interval_s
        theirs.append(((_last_step(blocks, stand.start, stages) - stand.settled_at) / SECOND_US, allowed))
        other = told.get(stand.start)
        if other is None or other.settled_at is None:
            missed += 1
        else:
            ours.append(((other.settled_at - stand.settled_at) / SECOND_US, allowed))
    return of_errors(theirs), of_errors(ours, missed), len(hours)


def _is_whole(sight: Sight, stand: Stand) -> bool:
    if stand.settled_at is None or stand.time_to_sleep_s is None:
        return False
    end = stand.start + HOUR_S * SECOND_US
    asleep_us = min(end, sight.asleep_until(stand)) - stand.settled_at
    steady = not any(w.start < end for w in stand.wake_ups) and not any(s.at < end for s in stand.level_steps)
    return steady and sight.asleep_until(stand) >= end and asleep_us >= ASLEEP_LEAST_S * SECOND_US


def _last_step(blocks: Sequence[Block], start: int, stages: int) -> int:
    """The last of `stages` least-squares steps in the hour from `start`, µs."""
    import ruptures

    t_us = np.concatenate([b.t_us for b in blocks if b.t_us[-1] >= start])
    amps = np.concatenate([b.amps for b in blocks if b.t_us[-1] >= start and b.amps is not None])
    rows = slice(*np.searchsorted(t_us, [start, start + HOUR_S * SECOND_US]))
    second, first = np.unique(t_us[rows] // SECOND_US, return_index=True)
    means = np.add.reduceat(amps[rows], first) / np.diff(np.append(first, rows.stop - rows.start))
    search = ruptures.KernelCPD(kernel="linear", min_size=LEAST_ROWS).fit(means.reshape(-1, 1))
    steps: list[int] = search.predict(n_bkps=stages)
    return int(second[steps[-2]]) * SECOND_US
