"""Sum of a survey against the plateau: nothing counted twice, error bars that hold, the rest named."""

import math

import numpy as np
import pytest

from monitor.assess.fuses import Measured, reading, survey

DOOR = Measured("F23", "mini", 15, 0.97, feeds="F2", note="door module")
BOX = Measured("F2", "maxi", 40, 0.36, resistance_mohm=1.45)
ALARM = Measured("F7", "regular", 10, 0.77)


def test_the_error_bar_is_the_part_and_half_the_last_digit():
    one = reading(Measured("F7", "regular", 10, 0.77, digit_mv=0.01))
    assert one.low_a == pytest.approx(0.765 / (7.70 * 1.15), rel=1e-12)
    assert one.high_a == pytest.approx(0.775 / (7.70 * 0.85), rel=1e-12)


def test_no_fuse_within_its_tolerance_lies_outside_its_bar():
    random = np.random.default_rng(7)
    for factor in random.uniform(0.85, 1.15, 200):
        shown = round(0.100 * 7.70 * factor, 2)  # 100 mA through a part that is off, read to 0.01 mV
        one = reading(Measured("F7", "regular", 10, shown))
        assert one.low_a <= 0.100 <= one.high_a


def test_a_fuse_behind_a_measured_one_is_not_added_again():
    found = survey([BOX, DOOR, ALARM])
    assert found.sum_a == pytest.approx(0.36 / 1.45 + 0.77 / 7.70)
    assert [one.fuse for one in found.readings if not one.added] == ["F23"]
    assert any("F23" in text and "F2" in text and "not added again" in text for text in found.warnings)


def test_a_fuse_behind_one_that_was_not_measured_is_added_and_told():
    found = survey([DOOR, ALARM])
    assert found.sum_a == pytest.approx(0.97 / 4.58 + 0.1)
    assert any("F2, which feeds F23, was not measured" in text for text in found.warnings)


def test_a_fuse_that_carries_less_than_those_behind_it_is_told():
    low = Measured("F2", "maxi", 40, 0.10, resistance_mohm=1.45)
    assert any("F2 carries less than F23" in text for text in survey([low, DOOR]).warnings)
    assert not any("carries less" in text for text in survey([BOX, DOOR]).warnings)


def test_the_errors_of_parts_add_as_squares():
    twice = survey([Measured("F1", "regular", 10, 0.77), Measured("F2", "regular", 10, 0.77)])
    bar = 0.1 - reading(ALARM).low_a
    assert twice.sum_low_a == pytest.approx(0.2 - math.sqrt(2) * bar)


# plateau in A for a sum of 100 mA (87 to 119): what is said of the rest
AGREEMENTS = [
    (0.100, "explained"),
    (0.115, "explained"),
    (0.126, "small_rest"),
    (0.129, "small_rest"),
    (0.131, "rest"),
    (0.300, "rest"),
    (0.085, "explained"),
    (0.060, "too_much"),
]


@pytest.mark.parametrize(("plateau", "agreement"), AGREEMENTS)
def test_the_rest_is_named_from_30_milliampere_on(plateau, agreement):
    assert survey([ALARM], plateau).agreement == agreement


def test_a_rest_within_the_error_of_the_fuses_is_no_leak():
    found = survey([Measured("F1", "regular", 10, 7.7)], 1.1)  # 1 A, 0.87 to 1.18
    assert found.agreement == "rest_within_error"


def test_a_rest_points_past_the_fuses():
    assert any("B+" in text for text in survey([ALARM], 0.3).next)
    assert not any("B+" in text for text in survey([ALARM], 0.1).next)


def test_the_circuit_to_look_at_is_the_deepest_that_carries_most():
    assert "F23" in survey([BOX, DOOR, ALARM]).next[0] or "F23" in survey([BOX, DOOR, ALARM]).next[1]
    assert "F2 feeds" in "".join(survey([BOX, ALARM]).next)


def test_a_warm_car_reads_less_current():
    assert survey([ALARM], celsius=60).sum_a == pytest.approx(0.1 / (1 + 0.0039 * 40))


def test_without_a_plateau_nothing_is_said_of_a_rest():
    found = survey([ALARM])
    assert (found.agreement, found.rest_a) == ("not_compared", None)


def test_what_is_no_sleep_current_is_told():
    assert "warms the fuse" in reading(Measured("F1", "regular", 10, 20.0)).warnings[0]
    assert "millivolts?" in reading(Measured("F1", "regular", 10, 120.0)).warnings[0]


def test_a_coarse_meter_is_told():
    coarse = Measured("F1", "mini", 20, 0.1, digit_mv=0.1)
    assert "31 mA" in reading(coarse).warnings[0]
    assert reading(Measured("F1", "mini", 20, 0.10)).warnings == []


def test_an_unknown_resistance_is_never_guessed():
    with pytest.raises(ValueError, match="no published resistance"):
        reading(Measured("F1", "micro2", 10, 1.0))
