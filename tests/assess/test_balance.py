"""Charge balance: days, nights, what drives return."""

from datetime import UTC
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.assess import assess, balance
from monitor.base.fields import Span
from monitor.base.ledger import Ledger
from monitor.base.results import QuarterHour
from monitor.base.samples import SECOND_US, Block
from monitor.base.vehicle import Vehicle
from monitor.detect import Facts, replay
from monitor.detect.quarters import days_of
from tests.assess.cars import HOUR_US, document, drive, fresh_car, stand, wakes

AH_NC = 3_600_000_000_000
WEEK = [stand(24 * k + 18, 24 * k + 31, out_ah=9.6) for k in range(7)]
TRIPS = [drive(24 * k + 32, 24 * k + 33, in_ah=3.5, out_ah=0.4) for k in range(7)]


def quarters(*at_h, out_ah=1.0):
    return [
        QuarterHour(start=round(h * HOUR_US), in_nc=0, out_nc=round(out_ah * AH_NC), gap_us=0, counted=True)
        for h in at_h
    ]


def test_a_night_and_what_the_drives_return_are_told_in_one_sentence():
    total = balance.total(document(WEEK, TRIPS), "flooded", UTC)
    assert balance.sentences(total)[0].startswith(
        "A night costs 9.6 Ah (median of 7 nights), your drives return 3.3 Ah"
    )


def test_a_charge_factor_is_held_against_the_kind_of_battery_from_a_week_on():
    total = balance.total(document(WEEK, TRIPS), "agm", UTC)
    assert total.factor == pytest.approx(24.5 / 70.0)
    assert any("less than the 1.02 to 1.05" in text for text in balance.sentences(total)) is (total.days >= 6.9)
    short = balance.total(document(WEEK[:2], TRIPS[:2]), "agm", UTC)
    assert not any("factor" in text for text in balance.sentences(short))


def test_a_log_without_current_has_no_balance():
    part = stand(0, 10).model_copy(update={"charge_out_ah": None, "charge_in_ah": None})
    assert balance.total(document([part]), None, UTC) is None


def test_a_night_is_one_of_the_zone():
    only = document([stand(20, 26)])  # 20:00 to 02:00 UTC: in Oslo until 03:00, in Athens over it
    assert balance.total(only, None, ZoneInfo("UTC")).nights == 0
    assert balance.total(only, None, ZoneInfo("Europe/Athens")).nights == 1


@pytest.mark.parametrize(
    ("zone", "days"),
    [
        ("UTC", [2.0]),
        ("Asia/Kolkata", [1.0, 1.0]),  # midnight at 18:30 UTC lies between the two
        ("Asia/Kathmandu", [2.0]),  # midnight at 18:15 UTC lies before both
    ],
)
def test_charge_belongs_to_the_local_day_even_where_midnight_is_no_full_hour(zone, days):
    in_2025 = 24 * 20_089
    cells = quarters(in_2025 + 18.25, in_2025 + 18.5)
    assert [day.out_ah for day in days_of(cells, [], 0.0, ZoneInfo(zone))] == days


def test_the_engine_counts_finely_enough_for_any_midnight():
    # 1 A out from 18:00 to 19:00 UTC; midnight in India is at 18:30
    t = (np.arange(12 * 3600, 20 * 3600, 5, dtype=np.int64) + 86400 * 20_089) * SECOND_US
    hour = t // SECOND_US % 86400 / 3600
    amps = np.where((hour >= 18) & (hour < 19), -1.0, 0.0)
    found = replay([Block(t, np.full(len(t), 12.6), amps)], Ledger(), Facts())
    days = assess(found, Vehicle(), ZoneInfo("Asia/Kolkata")).balance
    # an interval of 5 s is booked where it ends: up to 5 As, 1.4 mAh
    assert [day.out_ah for day in days] == pytest.approx([0.5, 0.5], abs=0.0015)
    assert len(assess(found, Vehicle(), UTC).balance) == 1


def test_a_gap_over_midnight_is_shared_out():
    gap = Span(start=22 * HOUR_US, end=27 * HOUR_US)
    days = days_of(quarters(21.75, 27.0), [gap], 5 * 3600.0, UTC)
    assert [day.unobserved_s for day in days] == [2 * 3600.0, 3 * 3600.0]


def test_a_day_without_a_sample_is_unknown_and_unobserved():
    gap = Span(start=22 * HOUR_US, end=50 * HOUR_US)
    days = days_of(quarters(21.75, 50.0), [gap], 28 * 3600.0, UTC)
    assert [(day.out_ah, day.unobserved_s) for day in days] == [(1.0, 7200.0), (None, 86400.0), (1.0, 7200.0)]
    assert (days[1].in_ah, days[1].net_ah) == (None, None)


def test_days_add_up_to_stands_and_drives_of_a_log():
    t = np.arange(0, 2 * 86400, 10, dtype=np.int64) * SECOND_US
    found = replay([Block(t, np.full(len(t), 12.6), np.full(len(t), -0.5))], Ledger(), Facts())
    told = assess(found, Vehicle(), UTC)
    assert sum(day.out_ah for day in told.balance) == pytest.approx(sum(s.charge_out_ah for s in told.stands), rel=1e-9)
    assert told.balance[0].out_ah == pytest.approx(12.0, rel=1e-3)  # 0.5 A for 24 h, an interval of 10 s less


def test_assessing_changes_nothing_of_what_was_found():
    woken = stand(200, 212, wake_ups=wakes(201, 5, 600, 45, 0.2))
    found = document([*WEEK, woken], TRIPS)
    before = found.model_dump_json()
    assess(found, Vehicle(), UTC)
    assert found.model_dump_json() == before


@pytest.mark.parametrize("number", range(3))
def test_the_balance_of_a_fresh_car_is_the_truths(number):
    car = fresh_car(number, "drain")
    parts = [*car.truth.stands, *car.truth.drives]
    real = sum(part.charge_in_ah - part.charge_out_ah for part in parts)
    moved = sum(part.charge_in_ah + part.charge_out_ah for part in parts)
    # net, because what flows to and fro within a sample of 5 s cancels; a crank of up to 0.25 Ah (300 A for 3 s) may be
    # missed or seen double, the rest of a drive is averaged well
    assert sum(day.net_ah for day in car.found.balance) == pytest.approx(
        real, abs=0.25 * len(car.truth.drives) + 0.01 * moved
    )
    assert len(car.found.balance) in (4, 5)
