"""Random scenarios: valid, varied, and spoiled by the cause that was asked for."""

from itertools import pairwise

import numpy as np
import pytest

from monitor.simulate import run
from monitor.simulate.draws import CAUSES, Cause, draw_scenario


def test_the_same_arguments_give_the_same_scenario_and_other_seeds_others() -> None:
    assert draw_scenario(3, "drain") == draw_scenario(3, "drain")
    assert draw_scenario(3, "drain") != draw_scenario(4, "drain")


@pytest.mark.parametrize("cause", CAUSES)
def test_every_draw_runs_and_its_truth_is_in_order(cause: Cause) -> None:
    for seed in range(100, 103):
        done = run(draw_scenario(seed, cause, rate_hz=0.2, days=1.5))
        truth = done.truth
        block = next(done.blocks(10**9))
        assert len(block) == truth.log.samples
        assert np.all(np.isfinite(block.volts))
        parts = sorted([*truth.stands, *truth.drives], key=lambda part: part.start)
        assert parts[0].start == truth.log.first
        assert all(a.end == b.start for a, b in pairwise(parts))
        for stand in truth.stands:
            ends = [stand.settled_at or stand.start, *(t for w in stand.wake_ups for t in (w.start, w.end))]
            assert ends == sorted(ends)
            assert stand.sleep_current_a is None or stand.sleep_current_a > 0


def test_vehicles_differ() -> None:
    drawn = [draw_scenario(seed) for seed in range(60)]
    assert {s.battery.nominal for s in drawn} == {6.0, 12.0, 24.0}
    assert {s.battery.kind for s in drawn} >= {"flooded", "efb", "agm"}
    assert {s.alternator.regulation for s in drawn} == {"fixed", "compensated", "managed"}
    assert {s.vehicle.fuel for s in drawn} == {"petrol", "diesel"}
    assert any(s.logger.averaging for s in drawn)
    assert not all(s.logger.averaging for s in drawn)
    assert len({len(s.vehicle.shutdown) for s in drawn}) >= 3


def test_a_healthy_draw_has_no_fault() -> None:
    for seed in range(20):
        drawn = draw_scenario(seed)
        assert not drawn.drains
        assert not drawn.keeps_awake
        assert drawn.alternator.fault == "none"
        assert drawn.battery.health >= 0.75
        assert drawn.vehicle.sleep < 0.08  # published limit for luxury cars, and heavy vehicles
