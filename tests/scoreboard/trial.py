"""One trial: a scenario drawn, simulated, replayed by the engine and by the plain script, and both scored."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass

from monitor.base.ledger import Ledger
from monitor.base.results import Result
from monitor.detect import Facts, replay
from monitor.simulate import Scenario, run
from monitor.simulate.draws import CAUSES, Cause, draw_scenario
from tests.scoreboard.baseline import thresholds
from tests.scoreboard.borders import settling_by_change_points
from tests.scoreboard.score import Score
from tests.scoreboard.scores import Scores, score

FALSE = ("cranks", "failed_starts", "faults", "wake_ups", "level_steps")  # invented ones are false findings
BLOCK = 65536
DAYS, FAST_HZ, FAST_DAYS = 2.0, 10.0, 1.0  # of a log; fast ones are long enough
HEALTHY_AFTER = 500  # seeds of healthy logs apart begin so much later


@dataclass(frozen=True, slots=True)
class Trial:
    """The scores of one log.

    engine, script   a score for each figure
    false            false findings of the engine: invented events, and notices about a log that is in order
    script_false     the same of the script
    """

    cause: Cause
    seed: int
    rate_hz: float
    days: float
    engine: Scores
    script: Scores
    false: dict[str, int]
    script_false: dict[str, int]


def attempt(seed: int, cause: Cause, rate_hz: float, days: float, change_points: bool = False) -> Trial:
    """Draw, simulate, replay and score."""
    scenario = draw_scenario(seed, cause, rate_hz=rate_hz, days=days)
    simulation = run(scenario)
    blocks = list(simulation.blocks(BLOCK))
    found = replay(blocks, Ledger(), facts_of(scenario))
    plain = thresholds(blocks, scenario.battery.nominal)
    engine, script = score(simulation, found, blocks), score(simulation, plain, blocks)
    if change_points:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # ruptures' own
            theirs, ours, _ = settling_by_change_points(simulation, found, blocks)
        engine["settled_in_hours"], script["settled_in_hours"] = ours, theirs
    return Trial(cause, seed, rate_hz, days, engine, script, _false(engine, found), _false(script, plain))


def attempts(
    first_seed: int, count: int, rate_hz: float, days: float, causes: tuple[Cause, ...] = CAUSES, **more: bool
) -> Iterator[Trial]:
    """So many trials, the causes in turn, each with a seed of its own."""
    for number in range(count):
        yield attempt(first_seed + number, causes[number % len(causes)], rate_hz, days, **more)


def days_at(rate_hz: float) -> float:
    """Length of a log at this rate, days."""
    return FAST_DAYS if rate_hz >= FAST_HZ else DAYS


def facts_of(scenario: Scenario) -> Facts:
    """What the owner of this vehicle would say of it."""
    battery = scenario.battery
    return Facts(
        nominal_v=battery.nominal,
        kind=battery.kind,
        capacity_ah=battery.capacity,
        cylinders=scenario.vehicle.cylinders,
    )


def _false(scores: Scores, found: Result) -> dict[str, int]:
    counts = {name: scores.get(name, Score()).invented for name in FALSE}
    return {**counts, "notices": len(found.log.notices)}
