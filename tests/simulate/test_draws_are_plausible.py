"""Drawn vehicles stay within what a real one can do."""

import numpy as np

from monitor.simulate import run
from monitor.simulate.draws import draw_scenario
from tests.assess.cars import FRESH


def test_an_alternator_that_gives_nothing_does_not_drive_on_with_an_empty_battery():
    drawn = [draw_scenario(FRESH + number, "charging", rate_hz=1.0, days=2.0) for number in range(60)]
    dead = [scenario for scenario in drawn if scenario.alternator.fault == "no_charge"]
    assert dead
    for scenario in dead:
        done = run(scenario)
        starts = [drive.crank.volts_min for drive in done.truth.drives if drive.crank is not None]
        assert min(starts) > 4.0 * scenario.battery.nominal / 12.0  # a starter still turns
        assert float(np.min(done.track.soc)) > 0.05
