"""Published figures of ratings, drain and endurance, held against the assessment's own arithmetic.

Sources: definition of reserve capacity; a vehicle maker's bulletin on parasitic drain (0.6 Ah a minute, no start after
40 %); a service manual of 2001 (a quarter of the reserve minutes in mA); battery makers' articles on draw tests; the
current of a lamp by its power. A figure whose source is not at hand says "from memory".
"""

import numpy as np
import pytest

from monitor.assess.course import Point
from monitor.assess.endurance import CRANKS_FROM, Drain, days_to_no_start
from monitor.assess.ratings import ah_at_25_a, ah_of_reserve, capacity_of, days_of_drain, drain_limit_a, usable_ah
from monitor.base.ledger import Ledger
from monitor.base.samples import SECOND_US, Block
from monitor.base.vehicle import Battery
from monitor.detect import Facts, replay
from monitor.detect.ocv import SLOPE_V_PER_FULL
from tests.assess.cars import stand


@pytest.mark.parametrize(
    ("reserve_min", "ah"), [(45, 18.75), (100, 41.67), (140, 58.3), (180, 75.0), (90, 37.5), (96, 40.0)]
)
def test_reserve_capacity_is_minutes_at_25_a(reserve_min, ah):
    assert ah_at_25_a(reserve_min) == pytest.approx(ah, abs=0.05)  # printed to three digits


def test_reserve_of_100_min_is_60_ah_at_the_20_h_rate():
    assert ah_of_reserve(100) == 60.0
    assert capacity_of(Battery(reserve_s=6000.0)).ah == 60.0


def test_reserve_of_100_min_allows_25_ma():
    assert drain_limit_a(100) == 0.025


def test_reserve_of_70_min_at_30_ma_lasts_23_days():
    capacity = ah_of_reserve(70)
    assert capacity == 42.0
    assert usable_ah(capacity) == pytest.approx(16.8)
    assert days_of_drain(usable_ah(capacity), 0.030) == pytest.approx(23.3, abs=0.05)  # example from memory


@pytest.mark.parametrize("reserve_min", [45, 70, 100, 180])
def test_the_allowed_drain_always_lasts_40_days(reserve_min):
    assert days_of_drain(usable_ah(ah_of_reserve(reserve_min)), drain_limit_a(reserve_min)) == pytest.approx(40.0)


def test_the_document_says_the_same_of_a_full_battery():
    full, drain = Point(0, 1.0, 1.0, 1.0, True), Drain(0.030, 0.030, 0.030, 0.030, 0.0, stand(0, 12))
    found = days_to_no_start(drain, full, capacity_of(Battery(reserve_s=70 * 60.0)))
    assert found.value == pytest.approx(23.3, abs=0.05)


@pytest.mark.parametrize(
    ("ah", "amps", "days", "tolerance"),
    [
        (60.0, 0.500, 5.0, 0.1),  # "about 5 days"
        (60.0, 1.0, 60 / 24, 1e-9),  # 60 h
        (50.0, 0.085, 24.5, 0.5),  # "just over three weeks"
        (19.2, 0.100, 8.0, 1e-9),  # 2.4 Ah a day
        (16.0, 0.007, 95.0, 0.5),  # AGM maker: 95 days at 7 mA, 37 days at 18 mA
        (16.0, 0.018, 37.0, 0.2),
        (25.0, 10 / 12, 30.1 / 24, 0.5 / 24),  # half of 50 Ah into a 10 W lamp: "about 30 h"
        (50.0, 5 / 12, 120 / 24, 0.5 / 24),  # a 5 W lamp
    ],
)
def test_published_examples_of_how_long_a_drain_takes(ah, amps, days, tolerance):
    assert days_of_drain(ah, amps) == pytest.approx(days, abs=tolerance)


def test_26_days_to_30_per_cent_is_seven_tenths_of_37_days():
    assert (1 - CRANKS_FROM) * days_of_drain(16.0, 0.018) == pytest.approx(25.9, abs=0.2)


def test_100_ma_for_10_h_lower_60_ah_by_12_7_mv():
    share = 0.100 * 10 / 60.0
    assert share == pytest.approx(0.0167, abs=1e-4)
    assert share * SLOPE_V_PER_FULL * 1000 == pytest.approx(12.7, abs=0.1)


@pytest.mark.parametrize(
    ("rest_v", "load_a", "low_v", "mohm"),
    [
        (12.6, 240.0, 11.4, 5.0),  # one load: r = (E − V) / I, short circuit 2,520 A
        (12.45, 210.0, 11.4, 5.0),  # two points on 12.6 V and 5 mΩ: 30 A before, 240 A
    ],
)
def test_the_resistance_of_a_crank_is_the_textbooks(rest_v, load_a, low_v, mohm):
    hz, before_a = 50, 240.0 - load_a
    t = np.arange(0, 120 * hz, dtype=np.int64) * (SECOND_US // hz)
    turning = (t >= 60 * SECOND_US) & (t < 62 * SECOND_US)
    running = t >= 62 * SECOND_US
    volts = np.where(turning, low_v, np.where(running, 14.2, rest_v))
    amps = np.where(turning, -240.0, np.where(running, 20.0, -before_a))
    crank = replay([Block(t, volts, amps)], Ledger(), Facts()).drives[0].crank
    assert crank.resistance_mohm == pytest.approx(mohm, rel=0.01)
