"""Sleep: what the plateaus, steps and excursions of a stand say of the vehicle falling and staying asleep.

Settled is the beginning of the first plateau that no lower one follows: while every step still leads down by more
than SETTLE_A and SETTLE_SHARE, the staged shutdown is going on. After a step up, or four hours at a level
published for sleeping vehicles, it had been asleep.
The sleep current is the mean of the plateau held longest after settling; its 95 % interval comes from batch means,
widened by what the logger's step may hide and by the zero offset the owner admits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.base.results import LevelStep, Plateau
from monitor.base.samples import SECOND_US
from monitor.detect.facts import Facts
from monitor.detect.held import AWAKE_A, Held
from monitor.detect.plateaus import STEP_UP_S, Step, TrackerState

SETTLE_A, SETTLE_SHARE = 0.005, 0.2  # a later step down by both of these is still part of the shutdown; our choice
SLEPT_S = 4 * 3600  # no stage: climate modules take up to 3 h (a maker's manual of 2010); our choice
FEWEST_ROWS = 20  # behind the last plateau, to know that the current has left it
UNIFORM_95 = 0.475  # of a step: 95 % of a uniform half step to each side
FEWEST_BATCHES = 4  # fewer batch means carry no interval of their own
T95 = (12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23)  # Student's t, 97.5 %, 1–10 degrees of freedom


@dataclass(frozen=True, slots=True)
class Asleep:
    """The sleep of one stand; None where not known. Drain figures in A, positive; times in s."""

    settled_s: int | None
    current_a: float | None
    low_a: float | None
    high_a: float | None
    plateaus: list[Plateau]
    steps: list[LevelStep]


def asleep(state: TrackerState, facts: Facts) -> Asleep:
    """Read the tracker's plateaus; pure."""
    held = [*state.done]
    if state.held is not None and state.held.known:
        held.append(state.held)
    if not held:
        return Asleep(None, None, None, None, [], [])
    if len(held) == 1 and _still_falling(state, held[0]):
        return Asleep(None, None, None, None, [], [])
    first = 0
    while first + 1 < len(held) and _goes_down(held[first], held[first + 1]):
        first += 1
    kept = held[first:]
    longest = max(kept, key=lambda h: h.end_s - h.start_s)
    low, high = interval(longest, facts.zero_offset_a)
    return Asleep(
        kept[0].start_s,
        longest.mean_a(),
        low,
        high,
        [_plateau(h) for h in kept],
        [_step(s) for s in state.steps if s.at_s > kept[0].start_s],
    )


def interval(held: Held, zero_offset_a: float) -> tuple[float, float]:
    """95 % interval of a plateau's mean, A: batch means, plus what the logger's step hides, plus the zero offset."""
    mean, n = held.mean_a(), len(held.means)
    if n >= FEWEST_BATCHES:
        t = T95[n - 2] if n - 2 < len(T95) else 1.96 + 2.5 / (n - 1)
        half = t * float(np.std(held.means, ddof=1)) / float(np.sqrt(n))
    else:
        half = 2.0 * held.texture.noise_a + held.texture.spikes_a
    return mean - half - hidden_a(held) - zero_offset_a, mean + half + hidden_a(held) + zero_offset_a


def hidden_a(held: Held) -> float:
    """What a logger's step may hide of a level without noise, A: 95 % of half a step; noise of half a step shows it.

    Where one value is all there is, its last decimal is the step.
    """
    step = held.texture.quantum_a
    if step == 0.0 and held.texture.noise_a == 0.0 and len(set(held.means)) <= 1:
        step = next((10.0**-k for k in range(7) if abs(held.level_a * 10**k - round(held.level_a * 10**k)) < 1e-6), 0.0)
    return UNIFORM_95 * step if held.texture.noise_a < step / 2 else 0.0


def _goes_down(now: Held, then: Held) -> bool:
    slept = now.end_s - now.start_s >= SLEPT_S and now.mean_a() <= AWAKE_A
    return not slept and _falls(now.mean_a(), then.mean_a())


def _falls(now_a: float, then_a: float) -> bool:
    return now_a - then_a > max(SETTLE_A, SETTLE_SHARE * now_a)


def _still_falling(state: TrackerState, plateau: Held) -> bool:
    """Whether the only plateau was a stage of the shutdown after all: the current has left it for a lower level."""
    if state.held is plateau or plateau.end_s - plateau.start_s >= STEP_UP_S:
        return False
    drain = np.concatenate([np.empty(0), *(r.drain[r.second >= plateau.end_s] for r in [*state.unsure, *state.seek])])
    return len(drain) >= FEWEST_ROWS and _falls(plateau.mean_a(), float(np.quantile(drain, 0.25)))


def _plateau(held: Held) -> Plateau:
    return Plateau(start=held.start_s * SECOND_US, end=held.end_s * SECOND_US, amps=-held.mean_a(), volts=held.volts())


def _step(step: Step) -> LevelStep:
    return LevelStep(at=step.at_s * SECOND_US, from_a=step.from_a, to_a=step.to_a)
