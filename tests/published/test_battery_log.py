"""Ten days of a real 12 V 17 Ah lead-acid battery: charge counted, quiescent levels, wake-ups, sign, order of rows.

Data: telemetry beside V. Sulzer et al., J. Electrochem. Soc. 166 (2019) 2363 (GitHub, valentinsulzer/faster-lead-acid,
BSD-3-Clause). + is discharge there. No vehicle: lab cycles in a field logger, 60 s steps under load, 600 s at rest.
"""

from functools import cache

import numpy as np
import pytest

from monitor.base.results import Plateau, Result
from monitor.base.samples import SECOND_US, Block, Seconds
from monitor.base.vehicle import LogSettings
from monitor.detect import Facts, replay
from monitor.detect.seconds import Binner
from monitor.sources import RecordedLog, open_logs
from tests.published.open_data import open_data

AH_PER_NC = 1e-9 / 3600
# Constant-current discharges, A and Ah, as published with the data; 1.535 A is interrupted at 7.21 Ah
DISCHARGES = [
    (3.043, 19.74), (2.540, 19.80), (2.039, 19.67), (1.536, 19.28), (1.033, 18.97), (1.033, 18.29), (0.531, 18.45),
]  # fmt: skip
RESOLUTION_A = 0.0014
DISCHARGING_A = 0.3  # below the smallest discharge (0.531 A), above what the logger itself draws (0.037 A)


def opened(positive: str | None = "discharge") -> RecordedLog:
    file = open_data("leadacid17ah_telemetry", "*.csv", "valentinsulzer/faster-lead-acid on GitHub, inputs/")
    return open_logs([file], LogSettings.model_validate({"amps": {"positive": positive}} if positive else {}))


@cache
def result(positive: str | None = "discharge") -> Result:
    log = opened(positive)
    return replay(log.blocks(), log.ledger, Facts(kind="agm", capacity_ah=17))


@cache
def samples() -> tuple[Block, ...]:
    return tuple(opened().blocks())


@cache
def seconds() -> Seconds:
    binner = Binner()
    return Seconds.join([*(binner.update(block).seconds for block in samples()), binner.flush().seconds])


def discharges() -> list[tuple[float, float, Seconds]]:
    """(median A, Ah, seconds) of each span whose current is above the threshold, charge as the program counts it."""
    s = seconds()
    on = np.concatenate([[0], s.amps < -DISCHARGING_A, [0]]).astype(int)
    spans = zip(np.flatnonzero(np.diff(on) == 1), np.flatnonzero(np.diff(on) == -1), strict=True)
    parts = [s[first:behind] for first, behind in spans]
    return [(-float(np.median(part.amps)), float(part.out_nc.sum()) * AH_PER_NC, part) for part in parts]


def test_the_charge_of_each_constant_current_discharge_is_the_published_one_within_a_percent() -> None:
    # The first reading of a span books the interval that led to it: at 60 s steps at most half of one at full current,
    # 30 s in 6 h to 35 h, 0.13 % at the most. One percent also covers the rounding of the published figures.
    whole = [(amps, ah) for amps, ah, _ in discharges() if ah > 15]
    assert [amps for amps, _ in whole] == pytest.approx([amps for amps, _ in DISCHARGES], abs=2 * RESOLUTION_A)
    assert [ah for _, ah in whole] == pytest.approx([ah for _, ah in DISCHARGES], rel=0.01)


def test_the_interrupted_discharge_stopped_at_7_21_ah() -> None:
    (part,) = [part for amps, ah, part in discharges() if ah < 15]
    # the first moment at which the current is off: the readings come ten a second there
    stop_us = next(int(b.t_us[i]) for b in samples() for i in off(b) if int(b.t_us[i]) > part.second[0] * SECOND_US)
    before = part.second < stop_us // SECOND_US
    assert float(part.out_nc[before].sum()) * AH_PER_NC == pytest.approx(7.21, rel=0.01)


def off(block: Block) -> list[int]:
    assert block.amps is not None
    return np.flatnonzero(np.abs(block.amps) < RESOLUTION_A).tolist()


def test_stands_and_drives_book_all_the_charge_that_was_counted() -> None:
    s = seconds()
    into, out = booked(result())
    assert into == pytest.approx(s.in_nc.sum() * AH_PER_NC, abs=1e-6)
    assert out == pytest.approx(s.out_nc.sum() * AH_PER_NC, abs=1e-6)


def booked(found: Result) -> tuple[float, float]:
    """Charge in and out of all stands and drives, Ah."""
    into = [part.charge_in_ah or 0.0 for part in found.stands] + [part.charge_in_ah or 0.0 for part in found.drives]
    out = [part.charge_out_ah or 0.0 for part in found.stands] + [part.charge_out_ah or 0.0 for part in found.drives]
    return sum(into), sum(out)


def test_quiescent_plateaus_are_7_to_10_ma() -> None:
    # Published levels: 7.1, 8.5 and 9.9 mA: multiples of the logger's step. At one reading in 600 s a rest of one or
    # two hours holds 7 to 14 readings. Right behind a discharge every other of them meets a wake-up, and no level can
    # be told; the rests of the charged battery (13.1 V and more) are quiet enough.
    quiet = quiet_plateaus()
    assert len(quiet) >= 6
    assert all(0.0071 - RESOLUTION_A / 2 <= -p.amps <= 0.0099 + RESOLUTION_A / 2 for p in quiet)


def quiet_plateaus() -> list[Plateau]:
    return [p for s in result().stands for p in s.plateaus if -0.05 < p.amps < -0.005 and (p.volts or 0) > 13.1]


def test_every_wake_up_told_on_a_quiet_plateau_peaks_at_31_to_37_ma() -> None:
    # A wake-up is one reading among those of 600 s: its peak can be told, its length only to the next reading.
    quiet = quiet_plateaus()
    wakes = [w for stand in result().stands for w in stand.wake_ups if any(p.start <= w.start < p.end for p in quiet)]
    assert wakes
    assert all(0.031 - RESOLUTION_A / 2 <= w.peak_a <= 0.037 + RESOLUTION_A / 2 for w in wakes)


def test_no_sleep_current_is_a_charge() -> None:
    for stand in result().stands:
        assert stand.sleep_current_a is None or stand.sleep_current_a > 0


def test_no_plateau_of_a_stand_is_a_charge() -> None:
    # one step of the logger is its zero's uncertainty
    assert all(p.amps < RESOLUTION_A for stand in result().stands for p in stand.plateaus)


def test_a_wake_ups_mean_is_not_above_its_peak() -> None:
    # of those on a quiet plateau, whose level is at least the lowest quiescent reading, 7.1 mA
    quiet = quiet_plateaus()
    wakes = [w for stand in result().stands for w in stand.wake_ups if any(p.start <= w.start < p.end for p in quiet)]
    assert wakes
    assert all(w.excess_a <= w.peak_a - 0.0071 + RESOLUTION_A for w in wakes)


def test_a_charger_makes_no_drive_and_no_crank() -> None:
    found = result()
    assert found.drives == []
    assert len(found.stands) == 1
    assert found.stands[0].failed_starts == []


def test_the_sign_as_logged_is_said_to_be_reversed_and_nothing_is_flipped() -> None:
    noticed = result(None)
    assert [notice.kind for notice in noticed.log.notices] == ["current_sign"]
    assert noticed.log.notices[0].setting is not None
    assert 'positive = "discharge"' in noticed.log.notices[0].setting
    assert "--current-sign reversed" in noticed.log.notices[0].setting
    right = result()
    assert right.log.notices == []
    assert booked(noticed) == pytest.approx(booked(right)[::-1])  # not flipped: in and out have changed places


def test_32_rows_that_go_back_in_time_are_put_in_order_and_counted() -> None:
    log = result().log
    assert log.reordered == 32
    assert log.clock_steps == []  # they go back by 0.6 s at the most
    assert log.refused == {}
    assert all(np.all(np.diff(block.t_us) > 0) for block in samples())


def test_rows_with_temperature_alone_are_samples_without_volts() -> None:
    volts = np.concatenate([b.volts for b in samples()])
    celsius = np.concatenate([b.celsius for b in samples() if b.celsius is not None])
    assert len(volts) == len(celsius) == 13_221  # all lines but the header
    assert np.count_nonzero(np.isnan(volts) & np.isfinite(celsius)) == 495
