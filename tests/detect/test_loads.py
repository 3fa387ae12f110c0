"""Load steps while standing: the resistance they show, and what is none."""

import numpy as np
import pytest

from monitor.base.samples import Seconds
from monitor.detect.loads import LoadSteps
from tests.detect.scene import OHM, Scene, document


def steps(scene, hz=1.0, **reading):
    return [step for stand in document(scene.read(hz, **reading)).stands for step in stand.load_steps]


@pytest.mark.parametrize("hz", [1.0, 10.0])
def test_headlamps_switched_on_and_off_show_the_batterys_resistance(hz):
    scene = Scene().asleep(3000).load(60, -10.0).asleep(600)
    found = steps(scene, hz)
    # a scene's volts fall by twice OHM; noise of 1 mV on means of two rows against 10 A: 0.4 mΩ is four sigma
    assert [step.resistance_mohm for step in found] == pytest.approx([2000 * OHM] * 2, abs=0.4)
    assert [step.change_a for step in found] == pytest.approx([-9.98, 9.98], abs=0.05)


def test_small_loads_and_a_slow_logger_show_none():
    assert not steps(Scene().asleep(3000).load(60, -5.0).asleep(600))
    assert not steps(Scene().asleep(3000).load(600, -10.0).asleep(600), hz=0.2)


def test_a_load_that_slides_is_no_step():
    assert not steps(Scene().asleep(3000).load(60, -2.0, to_amps=-14.0).load(60, -14.0, to_amps=-2.0).asleep(600))


def test_a_charger_is_no_step():
    assert not steps(Scene().asleep(3000).load(600, 10.0, volts=13.9).asleep(600))


def rows(second, amps, gap_us=0):
    n = len(second)
    zero = np.zeros(n, np.int64)
    volts = 12.6 + np.array(amps) * OHM
    amps = np.array(amps, float)
    gaps = zero.copy()
    gaps[-2] = gap_us
    return Seconds(
        np.array(second), zero + 1, volts, volts, volts, amps, amps, amps, np.full(n, np.nan), zero, zero, zero, gaps
    )


def test_a_step_across_a_gap_is_none():
    whole, gapped = LoadSteps(), LoadSteps()
    whole.update(rows(range(5), [0, 0, -10, -10, -10]))
    gapped.update(rows(range(5), [0, 0, -10, -10, -10], gap_us=900_000))
    assert len(whole.state.steps) == 1
    assert not gapped.state.steps
