"""What looks like a charging fault and is none, and what a log without current can carry."""

import numpy as np
import pytest

from tests.detect.test_charging import Drive, charging, seconds, tail


def test_an_empty_battery_that_is_being_filled_makes_no_late_alternator():
    """By volts alone: charging from the first second, yet 13.2 V are reached only after four minutes."""
    drive = Drive(31, 30)
    filling = charging(seconds(drive.t, drive.volts(lambda t: np.minimum(10.5 + 2.7 * t / 240, 14.2))))
    assert filling.delay_s == pytest.approx(240, abs=15)  # 11 mV a second; noise of 20 mV, and a run that lasts
    assert filling.faults == []


def test_an_alternator_that_is_late_by_less_than_two_minutes_is_told_with_amps():
    drive = Drive(32, 30)
    volts = drive.volts(lambda t: np.where(t < 87, 12.2, 14.2))
    amps = np.where(drive.t < 87, -15.0, tail(drive.t))
    assert charging(seconds(drive.t, volts, amps)).faults == ["late"]


def test_volts_alone_of_a_battery_that_rests_low_behind_a_drive_are_no_lack_of_charge():
    """A shorted cell: it rests at 10.4 V, and the log ends before the stop is certain."""
    drive = Drive(33, 40)
    volts = drive.volts(lambda t: np.where(t < 1800, 14.2, 10.8 - 0.3 * (t - 1800) / 600))
    parts = seconds(drive.t, volts)
    assert charging(parts, volts_before=10.4).faults == []
    assert charging(parts, volts_before=12.5).faults == ["no_charge"]
