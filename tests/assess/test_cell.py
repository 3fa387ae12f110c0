"""A cell that has gone short, told apart from a battery that was emptied."""

import pytest

from monitor.assess.cell import cell_step
from monitor.assess.ratings import capacity_of
from tests.assess.cars import SIXTY, document, drive, settled, stand

CAPACITY = capacity_of(SIXTY.battery)


def rests(*volts, drawn_ah=1.0, kind="flooded", **more):
    """Stands of 12 h that end at these volts, a drive of an hour between each two."""
    stands, drives = [], []
    for k, each in enumerate(volts):
        stands.append(stand(13 * k, 13 * k + 12, drawn_ah, **settled(each), **(more if k else {})))
        drives.append(drive(13 * k + 12, 13 * k + 13))
    result = document(stands, drives[:-1])
    if drawn_ah is None:
        for part in (*result.stands, *result.drives):
            part.charge_in_ah = part.charge_out_ah = None
    return cell_step(result, CAPACITY, kind, 1.0)


def test_a_rest_that_lies_two_volts_lower_and_stays_there_is_a_cell():
    step = rests(12.6, 10.5, 10.45)
    assert (step.before, step.after) == (12.6, 10.5)
    assert "fell from 12.60 to 10.50 V" in step.told


@pytest.mark.parametrize(
    ("volts", "drawn_ah"),
    [
        ((12.14, 10.4), 10.8),  # a fifth of the capacity, of a battery that was a third full
        ((12.6, 10.5), 25.0),  # 40 % of it: it may be worn
        ((12.6, 10.5, 12.1), 1.0),  # it came back
        ((12.6, 11.4), 1.0),  # less than a cell
        ((12.6, 9.6), 1.0),  # more than a cell
    ],
)
def test_a_battery_that_was_emptied_or_came_back_is_none(volts, drawn_ah):
    assert rests(*volts, drawn_ah=drawn_ah) is None


def test_the_charge_that_was_left_decides_and_not_a_threshold_of_volts():
    assert rests(12.14, 10.4, drawn_ah=1.0) is not None
    assert rests(12.55, 10.4, drawn_ah=10.8) is not None


def test_without_a_count_a_last_rest_that_falls_while_it_lasts_may_be_a_drain():
    assert rests(12.5, 10.6, drawn_ah=None, decay_mv_per_h=120.0) is None
    assert rests(12.5, 10.6, drawn_ah=None, decay_mv_per_h=2.0) is not None
    assert rests(12.5, 10.6, 10.55, drawn_ah=None, decay_mv_per_h=120.0) is not None  # there still, a drive later


def test_a_lifepo4_battery_has_no_cells_of_two_volts():
    assert rests(12.9, 10.8, kind="lifepo4") is None
