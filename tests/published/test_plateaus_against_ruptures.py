"""Plateau borders against ruptures: optimal change points of an hour of the simulator's traces.

Truong, Oudre & Vayatis, Selective review of offline change point detection methods, Signal Processing 167 (2020).
Its dynamic programming with a linear kernel finds the least-squares steps of the same readings, without any of our
thresholds.

Tolerance: readings are a second's mean and the plateau begins on a whole second. Least squares places a step of size
d in noise s to within a reading when d/s is large (here 15 and more), the simulator's own edges lie within a second:
two seconds in all.
"""

from datetime import UTC, datetime, time
from typing import Any

import numpy as np
import pytest

from monitor.base.samples import SECOND_US, Block
from monitor.simulate import Scenario, run
from tests.published.traces import SEEDS, replayed

BORDER_S = 2.0
HOUR_S = 3600


def night(seed: int, stages: list[dict[str, float]]) -> Block:
    """Twelve hours at 1 Hz: one drive, then a staged shutdown without wake-ups."""
    scenario: dict[str, Any] = {
        "start": datetime(2025, 11, 25, 18, tzinfo=UTC),
        "days": 0.5,
        "seed": seed,
        "vehicle": {"shutdown": stages},
        "trips": [{"at": time(18, 30), "duration": 1200.0}],
        "logger": {"rate": 1.0},
    }
    blocks = list(run(Scenario.model_validate(scenario)).blocks(100_000))
    assert len(blocks) == 1
    return blocks[0]


def borders(amps: np.ndarray, most: int) -> list[int]:
    """Rows at which the level steps, by least squares with so many steps."""
    import ruptures  # type: ignore[import-untyped]  # ships no types

    found: list[int] = ruptures.KernelCPD(kernel="linear", min_size=30).fit(amps.reshape(-1, 1)).predict(n_bkps=most)
    return found[:-1]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_sleep_plateau_begins_where_least_squares_put_the_last_step(seed: int) -> None:
    stages = [{"amps": 6.5, "duration": 40.0}, {"amps": 2.8, "duration": 90.0}, {"amps": 0.25, "duration": 600.0}]
    block = night(seed, stages)
    assert block.amps is not None
    stand = replayed(block).stands[-1]
    assert stand.settled_at is not None
    first = int(np.searchsorted(block.t_us, stand.start)) + 10
    window = slice(first, first + HOUR_S)
    steps = borders(block.amps[window], 3)
    theirs = [int(block.t_us[first + row]) / SECOND_US for row in steps]
    assert stand.settled_at / SECOND_US == pytest.approx(theirs[-1], abs=BORDER_S)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_module_that_stays_awake_steps_where_least_squares_put_it(seed: int) -> None:
    block = night(seed, [{"amps": 2.0, "duration": 60.0}])
    assert block.amps is not None
    # a lasting consumer of 60 mA comes on five hours into the night
    at = int(np.searchsorted(block.t_us, block.t_us[0] + 5 * HOUR_S * SECOND_US))
    amps = block.amps.copy()
    amps[at:] -= 0.060
    stand = replayed(Block(block.t_us, block.volts, amps)).stands[-1]
    window = slice(at - HOUR_S // 2, at + HOUR_S // 2)
    (row,) = borders(amps[window], 1)
    assert row == HOUR_S // 2  # the oracle finds the step that was put there
    assert len(stand.level_steps) == 1
    step = stand.level_steps[0]
    assert step.at / SECOND_US == pytest.approx(block.t_us[window][row] / SECOND_US, abs=BORDER_S)
    # the levels are those of the whole plateau and of its first minutes: the night's drift, below half a step of the
    # logger, and 4·s/√n of 1 mA noise over three minutes
    error_a = 0.0005 + 4 * 0.001 / np.sqrt(180)
    assert -step.from_a == pytest.approx(float(amps[window][:row].mean()), abs=error_a)
    assert -step.to_a == pytest.approx(float(amps[window][row:].mean()), abs=error_a)
