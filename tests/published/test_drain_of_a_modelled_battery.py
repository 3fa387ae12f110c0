"""Decay of the rest voltage through the whole engine, against PyBaMM's lead-acid model under a known drain.

Sulzer et al., J. Electrochem. Soc. 166 (2019) 2363: 17 Ah, 12 V. The fit alone is checked in test_relaxation.py.
"""

import numpy as np
import pytest

from monitor.base.results import Stand
from monitor.base.samples import SECOND_US, Block, Floats
from monitor.detect import Facts
from tests.published.test_relaxation import modelled_rest
from tests.published.traces import NOISE_A, SEEDS, T0_S, replayed

HOURS = 11
VOLTS_NOISE, VOLTS_STEP = 0.002, 0.001


def night(before: str, drain_a: float) -> tuple[Stand, Floats, Floats]:
    """The program's stand of a modelled night, and the model's own hours and volts."""
    hours, volts = modelled_rest(before, drain_a, HOURS)
    t = np.arange(0, (hours[-1] - hours[0]) * 3600, 1.0)
    random = np.random.default_rng(SEEDS[0])
    seen = np.interp(t / 3600 + hours[0], hours, volts) + VOLTS_NOISE * random.standard_normal(len(t))
    amps = -drain_a + NOISE_A * random.standard_normal(len(t))
    t_us = T0_S * SECOND_US + (t * SECOND_US).astype(np.int64)
    log = Block(t_us, np.round(seen / VOLTS_STEP) * VOLTS_STEP, np.round(amps, 3))
    (stand,) = replayed(log, Facts(kind="flooded", capacity_ah=17)).stands
    return stand, hours, volts


def truth_mv_per_h(hours: Floats, volts: Floats) -> float:
    """The model's own fall over the last hour, when its relaxation has died."""
    tail = hours > hours[-1] - 1
    return -1000 * float(np.polyfit(hours[tail], volts[tail], 1)[0])


@pytest.mark.parametrize("before", ["Charge at 2 A for 1 hour", "Discharge at 3 A for 1 hour"])
@pytest.mark.parametrize("drain_a", [0.08, 0.15])
def test_decay_drain_and_volts_of_a_modelled_night(before: str, drain_a: float) -> None:
    stand, hours, volts = night(before, drain_a)
    assert stand.sleep_current_a == pytest.approx(drain_a, abs=4 * NOISE_A / np.sqrt(HOURS * 3600))
    assert stand.charge_out_ah == pytest.approx(drain_a * (hours[-1] - hours[0]), rel=0.001)
    assert stand.rest.decay_mv_per_h is not None
    # what the fit itself is allowed (test_relaxation.py): 0.8 mV/h
    assert stand.rest.decay_mv_per_h == pytest.approx(truth_mv_per_h(hours, volts), abs=0.8)
    assert stand.rest.volts == pytest.approx(float(volts[hours > hours[-1] - 1].mean()), abs=0.005)
    assert stand.rest.settled


def test_a_decay_smaller_than_what_temperature_does_in_a_night_is_not_told() -> None:
    # 30 mA on 17 Ah: 2 mV/h; a fall of 15 °C moves a battery by 20 mV in a night, sources disagree even on the sign
    stand, hours, volts = night("Charge at 2 A for 1 hour", 0.03)
    assert truth_mv_per_h(hours, volts) == pytest.approx(2.0, abs=0.1)
    assert stand.rest.decay_mv_per_h is None
    assert "temperature" in (stand.rest.basis or "")
    assert stand.sleep_current_a == pytest.approx(0.03, abs=4 * NOISE_A / np.sqrt(HOURS * 3600))  # amps tell it


def test_the_models_decay_is_that_of_its_drain() -> None:
    # the oracle itself
    small, large = (truth_mv_per_h(*modelled_rest("Charge at 2 A for 1 hour", amps, HOURS)) for amps in (0.03, 0.08))
    assert large / small == pytest.approx(80 / 30, rel=0.1)
