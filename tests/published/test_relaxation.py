"""Relaxation and decay against scipy, a physical battery model, and a real battery's rests."""

import csv
import datetime
import os
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from monitor.detect.relaxation import fit_rest

LOGGER_STEP_V = 0.004  # resolution of the open 17 Ah data


def course(h, end, ocv, slope, a, fast, b, slow):
    return ocv + slope * (end - h) + a * np.exp(-h / fast) + b * np.exp(-h / slow)


@pytest.mark.parametrize("seed", range(5))
def test_scipys_free_fit_lies_within_our_interval(seed):
    from scipy.optimize import curve_fit

    random = np.random.default_rng(900 + seed)
    end = random.uniform(12, 20)
    h = np.arange(0.1, end, 1 / 60)
    truth = (12.4, random.uniform(0, 0.006), 0.2, random.uniform(0.1, 0.5), 0.05, random.uniform(2, 6))
    volts = course(h, end, *truth) + 0.001 * random.standard_normal(len(h))
    bounds = ([11, -0.02, -1, 0.03, -0.5, 1.0], [14, 0.05, 1, 0.9, 0.5, 12.0])
    free, _ = curve_fit(lambda t, *p: course(t, end, *p), h, volts, p0=(12.4, 0.002, 0.1, 0.3, 0.1, 4.0), bounds=bounds)
    ours = fit_rest(h, volts, np.ones(len(h)))
    assert ours is not None
    assert abs(free[0] - ours.ocv_v) <= ours.ocv_half_v + 0.001
    assert abs(free[1] - ours.slope_v_per_h) <= ours.slope_half_v_per_h + 0.0001
    assert ours.rms_v == pytest.approx(0.001, rel=0.2)


def modelled_rest(before, drain_a, hours):
    """A rest of the PyBaMM lead-acid model (Sulzer et al., J. Electrochem. Soc. 166 (2019) 2363), 17 Ah, 12 V."""
    import pybamm

    steps = ("Discharge at 3 A for 2 hours", before, f"Discharge at {drain_a} A for {hours} hours")
    experiment = pybamm.Experiment([steps], period="1 minute")
    values = pybamm.ParameterValues("Sulzer2019")
    solution = pybamm.Simulation(pybamm.lead_acid.LOQS(), experiment=experiment, parameter_values=values).solve()
    time_s, volts, amps = (solution[name].entries for name in ("Time [s]", "Battery voltage [V]", "Current [A]"))
    last = np.flatnonzero(np.isclose(amps, drain_a) & (time_s > time_s[-1] - hours * 3600 + 60))
    return (time_s[last] - time_s[-1]) / 3600 + hours, volts[last]


@pytest.mark.parametrize("before", ["Charge at 2 A for 1 hour", "Discharge at 3 A for 1 hour"])
@pytest.mark.parametrize("drain_a", [0.02, 0.1])
def test_the_decay_of_a_known_drain_overnight_is_found_after_charge_and_after_load(before, drain_a):
    hours, volts = modelled_rest(before, drain_a, 10)
    # truth: the model's own slope over the last hour, when its relaxation (minutes) has long died
    tail = hours > hours[-1] - 1
    truth = -np.polyfit(hours[tail], volts[tail], 1)[0]
    noisy = volts + 0.0005 * np.random.default_rng(7).standard_normal(len(volts))  # what is left in minute means
    found = fit_rest(hours, noisy, np.ones(len(hours)))
    assert found is not None
    assert abs(found.slope_v_per_h - truth) <= found.slope_half_v_per_h
    assert found.slope_v_per_h == pytest.approx(truth, abs=0.0008)
    assert abs(found.drift_v_per_h) < 0.002


def test_twice_the_drain_is_twice_the_decay():
    slopes = []
    for drain_a in (0.05, 0.1):
        hours, volts = modelled_rest("Charge at 2 A for 1 hour", drain_a, 12)
        found = fit_rest(hours, volts, np.ones(len(hours)))
        assert found is not None
        slopes.append(found.slope_v_per_h)
    assert slopes[1] / slopes[0] == pytest.approx(2.0, rel=0.1)


def real_rests():
    """(hours, volts, amps before) of each rest of an hour and a half or more in the open 17 Ah telemetry."""
    root = Path(os.environ.get("KEYOFF_OPEN_DATA", Path(__file__).parents[3] / "shared" / "data"))
    files = sorted((root / "leadacid17ah_telemetry").glob("*.csv"))
    if not files:
        if os.environ.get("CI") == "true":
            pytest.fail(f"the open battery data is missing under {root}")
        pytest.skip(f"the open battery data is not under {root}; set KEYOFF_OPEN_DATA")
    rows = []
    with files[0].open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            if row["voltage"]:
                moment = datetime.datetime.fromisoformat(row["time"] + "+00:00").timestamp()
                rows.append((moment, float(row["voltage"]), -float(row["current"])))
    t, volts, amps = np.array(sorted(rows)).T
    quiet = np.abs(amps) < 0.06
    borders = [0, *(np.flatnonzero(np.diff(quiet.astype(int))) + 1).tolist(), len(t)]
    rests = []
    for start, end in pairwise(borders):
        # the last reading of a rest already belongs to what follows, the first two may lie within one minute
        hours = (t[start + 1 : end - 1] - t[start]) / 3600
        if quiet[start] and start and len(hours) > 8 and hours[-1] > 1.5:
            rests.append((hours, volts[start + 1 : end - 1], amps[start - 1]))
    return rests


def test_a_real_batterys_rests_follow_the_course_and_its_direction():
    rests = real_rests()
    assert len(rests) >= 12
    directions = []
    for hours, volts, before in rests:
        found = fit_rest(hours, volts, np.ones(len(hours)))
        assert found is not None
        assert found.rms_v < 2 * LOGGER_STEP_V  # the readings themselves jitter by one step either way
        if abs(volts[-1] - volts[1]) > 5 * LOGGER_STEP_V:  # a discharge stopped early is over in one reading
            assert found.rms_v**2 < 0.1 * np.var(volts)  # nine tenths of the course is explained
            directions.append((before > 0, found.drift_v_per_h < 0))
    assert len(directions) >= 10
    assert all(after_charge == falling for after_charge, falling in directions)


def test_two_hours_of_a_real_rest_leave_a_wide_open_circuit_voltage():
    for hours, volts, _ in real_rests():
        found = fit_rest(hours, volts, np.ones(len(hours)))
        assert found is not None
        assert found.ocv_half_v > 0.05  # 7 % state of charge: two hours settle nothing
