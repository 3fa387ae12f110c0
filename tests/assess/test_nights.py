"""What counts as a night, and how stands are cut into nights."""

from datetime import UTC
from zoneinfo import ZoneInfo

import pytest

from monitor.assess.nights import nights_of
from monitor.base.results import Log, Plateau, Result, Stand, WakeUp, WakeUpGroup
from tests.assess.weeks import DAY, FIRST, HOUR, at, gap, week

NEVER = 0  # a repair before all


def stood(start: str, end: str, **more) -> Result:
    log = Log(first=at(start), last=at(end), samples=1, channels=["volts", "amps"])
    return Result(log=log, stands=[Stand(start=at(start), end=at(end), **more)])


STANDS = [
    ("2025-03-03T18:00", "2025-03-04T07:00", 1),
    ("2025-03-03T08:00", "2025-03-03T16:00", 0),  # a day at work
    ("2025-03-04T03:30", "2025-03-04T07:00", 0),  # under four hours
    ("2025-03-04T03:00", "2025-03-04T07:00", 1),
    ("2025-03-04T06:00", "2025-03-04T20:00", 0),  # begins as the night ends
    ("2025-03-03T18:00", "2025-03-06T08:00", 3),  # a long weekend
    ("2025-03-03T18:00", "2025-03-06T22:30", 4),
]


@pytest.mark.parametrize(("start", "end", "count"), STANDS)
def test_a_night_is_four_hours_and_more_that_overlap_the_local_night(start, end, count):
    assert len(nights_of(stood(start, end), NEVER, UTC)) == count


def test_night_is_where_the_vehicle_is():
    day = stood("2025-03-03T08:00", "2025-03-03T16:00")
    assert len(nights_of(day, NEVER, ZoneInfo("Asia/Tokyo"))) == 1


def test_a_stand_of_days_is_cut_at_noon_without_loss_or_overlap():
    nights = nights_of(stood("2025-03-03T18:00", "2025-03-06T08:00"), NEVER, UTC)
    assert [n.start for n in nights] == [at("2025-03-03T18:00"), at("2025-03-04T12:00"), at("2025-03-05T12:00")]
    assert [n.end for n in nights] == [*(n.start for n in nights[1:]), at("2025-03-06T08:00")]


def test_no_night_lies_across_the_repair():
    repair = at("2025-03-05T00:00")
    nights = nights_of(stood("2025-03-03T18:00", "2025-03-06T08:00"), repair, UTC)
    assert [n.end for n in nights if n.start < repair] == [at("2025-03-04T12:00"), repair]
    assert [n.start for n in nights if n.end > repair] == [repair, at("2025-03-05T12:00")]


def test_each_piece_has_the_level_of_its_own_plateau_and_its_own_wake_ups():
    noon = at("2025-03-04T12:00")
    plateaus = [
        Plateau(start=at("2025-03-03T18:00"), end=noon, amps=-0.3),
        Plateau(start=noon, end=at("2025-03-05T08:00"), amps=-0.02),
    ]
    woken = [WakeUp(start=noon - HOUR, end=noon - HOUR + 1, peak_a=1, excess_a=1, charge_ah=0.1)]
    result = stood("2025-03-03T18:00", "2025-03-05T08:00", plateaus=plateaus, wake_ups=woken)
    assert [(n.sleep_ma, n.wake_ups) for n in nights_of(result, noon, UTC)] == [(300, 1), (20, 0)]


def test_wake_ups_of_a_normal_pattern_are_left_out_unless_they_grow():
    result = week([20], wakes=[5])
    for wake in result.stands[0].wake_ups:
        wake.group = 1
    group = WakeUpGroup(
        group=1,
        count=5,
        excess_a=0.2,
        duration_s=60,
        charge_ah=0.1,
        first=FIRST,
        last=FIRST + HOUR,
        pattern="telematics",
    )
    result.wake_up_groups = [group]
    assert nights_of(result, NEVER, UTC)[0].wake_ups == 0
    group.growing = True
    assert nights_of(result, NEVER, UTC)[0].wake_ups == 5


def test_a_night_hardly_observed_is_none_and_a_gap_shortens_its_hours():
    result = week([20])
    result.log.gaps = [gap(FIRST + HOUR, FIRST + 3 * HOUR)]
    assert nights_of(result, NEVER, UTC)[0].hours == 10
    result.log.gaps = [gap(FIRST + HOUR, FIRST + 8 * HOUR)]
    assert nights_of(result, NEVER, UTC) == []


def test_a_night_without_current_knows_neither_level_nor_wake_ups():
    only_volts = nights_of(week([None]), NEVER, UTC)[0]
    assert (only_volts.level_ma, only_volts.wake_ups, only_volts.out_ma) == (None, None, None)


def test_a_night_without_sleep_is_told_by_what_it_drew():
    result = stood("2025-03-03T18:00", "2025-03-04T06:00", charge_out_ah=6.0)
    night = nights_of(result, NEVER, UTC)[0]
    assert (night.sleep_ma, night.level_ma, night.wake_ups) == (None, 500, None)


def test_a_stand_that_is_not_over_reaches_to_the_end_of_the_log():
    result = week([20])
    result.stands[0].end = None
    assert nights_of(result, NEVER, UTC)[-1].end == FIRST + DAY
