"""Regulators that fail without a voltage that is wrong at once: one that hunts, one that never lifts the battery."""

import numpy as np
import pytest

from tests.detect.test_charging import Drive, charging, seconds


@pytest.mark.parametrize("minutes", [8, 12, 30])
def test_an_alternator_that_never_lifts_the_battery_is_told_from_the_eleventh_minute_on(minutes):
    """A regulator stuck at 12.75 V: a little in, a little out, and no charge after the start."""
    drive = Drive(34, minutes)
    expected = ["undervoltage"] if minutes > 11 else []
    assert charging(seconds(drive.t, drive.volts(12.75), -0.2)).faults == expected
    lifted = drive.volts(lambda t: np.where((t > 4) & (t < 34), 14.5, 12.75))  # as engine-managed systems begin
    assert charging(seconds(drive.t, lifted, -0.2)).faults == []


def test_a_hunting_regulator_whose_volts_the_battery_smooths_is_unstable():
    """Up within 1.5 s, down over 3 s by 0.25 V each: only the rise is a large move from one second to the next."""
    drive = Drive(32, 20, noise=0.01)
    part = np.mod(drive.t[:, None] + np.linspace(0, 1, 20, endpoint=False), 4.5)  # a second's mean
    wave = np.where(part < 1.5, part / 1.5, (4.5 - part) / 3.0).mean(axis=1)
    assert "unstable" in charging(seconds(drive.t, drive.volts(13.6) + 0.75 * wave)).faults


def test_the_ramps_of_a_managed_alternator_are_not_unstable():
    """0.05 V/s up and down, as published, all the time: 0.15 V within three seconds."""
    drive = Drive(33, 20, noise=0.01)
    wave = np.abs(np.mod(drive.t, 20) - 10) * 0.05
    assert "unstable" not in charging(seconds(drive.t, drive.volts(13.6) + wave)).faults
