"""What a log is: its ends, channels, rate and gaps; and whether its sign is plainly reversed."""

import numpy as np
import pytest

from monitor.base.samples import SECOND_US, Block
from monitor.detect import Facts
from tests.detect.scene import T0, Scene, document


def even(n, hz, volts=12.6, amps=-0.02):
    t = T0 + np.rint(np.arange(n) * SECOND_US / hz).astype(np.int64)
    return Block(t, np.full(n, volts), np.full(n, amps))


@pytest.mark.parametrize("hz", [200.0, 10.0, 4.0, 1.0, 0.5, 0.2, 1 / 60])
def test_an_even_log_has_its_own_rate(hz):
    rate = document(even(400, hz)).log.rate_hz
    assert rate.median == pytest.approx(hz)
    assert rate.max == pytest.approx(hz)


def test_a_logger_that_speeds_up_has_a_median_and_a_highest_rate():
    slow, fast = even(1000, 1.0), even(500, 50.0)
    t = np.concatenate([slow.t_us, slow.t_us[-1] + SECOND_US + fast.t_us - T0])
    rate = document(Block(t, np.full(1500, 12.6), np.full(1500, -0.02))).log.rate_hz
    assert (rate.median, rate.max) == (1.0, 50.0)


def test_the_ends_and_the_samples_are_those_of_the_log():
    block = even(777, 2.0)
    log = document(block).log
    assert (log.first, log.last, log.samples) == (block.t_us[0], block.t_us[-1], 777)


def test_rows_that_carry_nothing_are_no_samples():
    block = even(100, 1.0)
    volts, amps = block.volts.copy(), block.amps.copy()
    volts[::2] = np.nan
    amps[::4] = np.nan
    assert document(Block(block.t_us, volts, amps)).log.samples == 75


def test_channels_are_named_when_something_was_read_from_them():
    block = even(50, 1.0)
    nothing = np.full(50, np.nan)
    assert document(Block(block.t_us, block.volts)).log.channels == ["volts"]
    assert document(Block(block.t_us, block.volts, nothing, nothing)).log.channels == ["volts"]
    warm = np.full(50, 12.0)
    assert document(Block(block.t_us, block.volts, block.amps, warm)).log.channels == ["volts", "amps", "celsius"]


def test_a_gap_is_told_with_its_ends():
    block = even(600, 1.0)
    t = block.t_us.copy()
    t[300:] += 500 * SECOND_US
    log = document(Block(t, block.volts, block.amps)).log
    assert [(g.start, g.end) for g in log.gaps] == [(int(t[299]), int(t[300]))]
    assert log.unobserved_s == 501


def test_a_gap_begins_above_five_intervals():
    block = even(600, 0.2)
    for extra, gaps in ((20, 0), (21, 1)):
        t = block.t_us.copy()
        t[300:] += extra * SECOND_US
        assert len(document(Block(t, block.volts, block.amps)).log.gaps) == gaps


def test_two_seconds_of_a_fast_logger_are_no_gap():
    block = even(600, 10.0)
    for extra, gaps in ((1_900_000, 0), (1_900_001, 1)):
        t = block.t_us.copy()
        t[300:] += extra
        assert len(document(Block(t, block.volts, block.amps)).log.gaps) == gaps


def reversed_amps(block):
    return Block(block.t_us, block.volts, -block.amps)


def day():
    return Scene().asleep(4000).crank().running(600).shutdown().asleep(4000).read(1.0)


def test_a_reversed_sign_is_told_with_the_setting_that_mends_it():
    notices = document(reversed_amps(day())).log.notices
    assert [n.kind for n in notices] == ["current_sign"]
    assert "--current-sign" in notices[0].setting
    assert "starter" in notices[0].text


def test_the_right_sign_is_not_doubted():
    assert document(day()).log.notices == []


def test_nothing_is_flipped():
    (stand,) = document(reversed_amps(Scene().asleep(5 * 3600).read(1.0))).stands
    assert stand.charge_in_ah == pytest.approx(5 * 0.02, rel=0.01)
    assert stand.charge_out_ah == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("seconds", [600, 3599])
def test_less_than_an_hour_of_standing_is_no_evidence(seconds):
    assert document(reversed_amps(Scene().asleep(seconds).read(1.0))).log.notices == []


def test_a_night_of_charge_below_any_charging_voltage_is_evidence():
    assert len(document(reversed_amps(Scene().asleep(5 * 3600).read(1.0))).log.notices) == 1


def test_a_charger_at_work_is_no_reversed_sign():
    block = Scene().asleep(600).load(4 * 3600, 4.0, volts=14.3).asleep(600).read(1.0)
    assert document(block).log.notices == []


def test_a_logger_whose_zero_is_off_is_no_reversed_sign():
    """A few milliamperes of apparent charge: below what counts."""
    block = Scene().asleep(6 * 3600, -0.003).read(1.0, noise_a=0.0003)
    assert document(block).log.notices == []


def test_evidence_scales_with_the_battery():
    block = day()
    doubled = Block(block.t_us, 2 * block.volts, -block.amps)
    assert len(document(doubled, Facts(nominal_v=24.0)).log.notices) == 1
    assert document(Block(block.t_us, 2 * block.volts, block.amps), Facts(nominal_v=24.0)).log.notices == []
