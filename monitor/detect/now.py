"""What is open now: a cheap view of the engine for those who must know before a stand or drive has ended.

Nothing is copied or computed twice, and nothing is changed; what the delay lines still hold is not told here. So a
stand appears once the engine's stop is certain (up to 20 minutes of data late) and then with its true beginning.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from monitor.base.condition import Condition
from monitor.base.results import Crank, WakeUp
from monitor.base.samples import SECOND_US
from monitor.detect.rows import Rows
from monitor.detect.sleep import asleep
from monitor.detect.stand import CHARGE_LEAST_S
from monitor.detect.stopping import is_loaded

if TYPE_CHECKING:
    from monitor.detect.engine import Engine
    from monitor.detect.plateaus import TrackerState

UNPROVED_S = 120  # without a proof that the engine runs; our choice: charging proves it every second
LAPSE_ROWS = 3  # rows in band that end a wake-up which is going on; as the tracker's own return


@dataclass(frozen=True, slots=True)
class StandNow:
    """The open stand.

    seen         its beginning lies in the log
    amps         the log has current
    settled_us   when it fell asleep; None: not yet, or not known
    charged_us   when the last charge within it ended; None: there was none
    level_a      drain at which it sleeps, now; None as above, and while a new level is sought. band_a: no excursion
    awake_us     when the wake-up that is going on began; None: none is
    out_nc, in_nc, gap_us   charge and unobserved time since its beginning
    """

    start_us: int
    seen: bool
    amps: bool
    settled_us: int | None
    charged_us: int | None
    level_a: float | None
    band_a: float
    awake_us: int | None
    wake_ups: list[WakeUp]
    out_nc: int
    in_nc: int
    gap_us: int
    failed: list[Crank]


@dataclass(frozen=True, slots=True)
class DriveNow:
    """The open drive.

    runs_us      when the engine ran by itself: the end of the crank
    seen         its beginning lies in the log
    charged      the charging system was seen at work; delay_s: how long after the start, None where unknown
    proved_us    until when the engine is known to have run
    loaded       behind that, the loads of a running engine are on the battery
    stop_us      the last stop inside the drive (start, end)
    hunting_s    how long the charging voltage has hunted; 0 while that is too small a share of the drive
    """

    start_us: int
    runs_us: int
    seen: bool
    crank: Crank | None
    charged: bool
    delay_s: float | None
    proved_us: int
    loaded: bool
    stop_us: tuple[int, int] | None
    ripple_mv: float | None
    hunting_s: float


def now(engine: Engine) -> StandNow | DriveNow | None:
    """The stand or drive that is open; None: none is known yet."""
    if engine.stand is not None:
        return _stand(engine)
    return _drive(engine) if engine.drive is not None else None


def condition(engine: Engine) -> Condition | None:
    """What the vehicle is doing; None: neither a stand nor a drive is known yet."""
    found = now(engine)
    if found is None:
        return None
    if isinstance(found, DriveNow):
        held = engine.phases.state.held
        if len(held) and int(held.second[-1]) * SECOND_US - found.proved_us > UNPROVED_S * SECOND_US:
            return Condition(state="stopping", since=found.proved_us)
        return Condition(state="running", since=found.start_us)
    wakes = len(found.wake_ups)
    if found.awake_us is not None:
        return Condition(state="awake", since=found.awake_us, sleep_a=found.level_a, wakes=wakes)
    if found.settled_us is not None:
        return Condition(state="asleep", since=found.settled_us, sleep_a=found.level_a, wakes=wakes)
    return Condition(state="settling" if found.amps else "standing", since=found.start_us)


def _stand(engine: Engine) -> StandNow:
    assert engine.stand is not None
    tracker, state = engine.stand.plateaus.state, engine.stand.state
    sleep = asleep(tracker, engine.facts)
    held = tracker.held
    level = None
    if sleep.settled_s is not None and held is not None and held.known:
        level = held.level_a if held.now_a is None else held.now_a
    band = held.texture.band_a(held.level_a) if held is not None else 0.0
    return StandNow(
        start_us=state.start_us,
        seen=state.seen,
        amps=state.amps,
        settled_us=None if sleep.settled_s is None else max(sleep.settled_s * SECOND_US, state.start_us),
        charged_us=max((b for a, b in state.charges if b - a >= CHARGE_LEAST_S), default=0) * SECOND_US or None,
        level_a=level,
        band_a=band,
        awake_us=None if level is None else _awake_us(tracker, level, band),
        wake_ups=engine.stand.counted(sleep),
        out_nc=state.out_nc,
        in_nc=state.in_nc,
        gap_us=state.gap_us,
        failed=state.failed,
    )


def _awake_us(tracker: TrackerState, level: float, band: float) -> int | None:
    """When the excursion began that is going on: an open one of the tracker, and rows it has not read yet."""
    since = None if tracker.above is None else tracker.above.start_s
    waiting = Rows.join(tracker.frame) if tracker.frame else None
    if waiting is None or not len(waiting):
        return None if since is None else since * SECOND_US
    inside = waiting.drain <= level + band
    calm = np.flatnonzero(inside)
    if len(inside) >= LAPSE_ROWS and inside[-LAPSE_ROWS:].all():
        return None
    if since is not None and _longest(inside) < LAPSE_ROWS:
        return since * SECOND_US
    first = int(calm[-1]) + 1 if len(calm) else 0
    return int(waiting.second[first]) * SECOND_US if first < len(inside) else None


def _longest(flags: np.typing.NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max()) if len(edges) else 0


def _drive(engine: Engine) -> DriveNow:
    assert engine.drive is not None
    drive, phases = engine.drive, engine.phases.state
    state, charging = drive.state, drive.charging
    return DriveNow(
        start_us=state.start_us,
        runs_us=state.runs_us,
        seen=state.crank is not None,
        crank=state.crank,
        charged=phases.charged,
        delay_s=charging.delay_s(),
        proved_us=(phases.ran_s + 1) * SECOND_US,
        loaded=is_loaded(phases.held, engine.facts) if len(phases.held) else False,
        stop_us=state.stops[-1] if state.stops else None,
        ripple_mv=charging.ripple_mv(),
        hunting_s=charging.hunting_s(),
    )
