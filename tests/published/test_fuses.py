"""Current through blade fuses against published charts and data sheets."""

import pytest

from monitor.assess.fuses import PER_KELVIN, RESISTANCES, Measured, cold_resistance, reading


def amps_ma(family, rating, millivolts, celsius=None):
    return reading(Measured("F", family, rating, millivolts), celsius).amps * 1000


# a trade chart of the voltage drop over regular 10 A fuses; another, of 2017, over miniature 15 A fuses; the last two
# from the data sheets' cold resistances
CHART = [
    ("regular", 10, 1.0, 130, 1),
    ("mini", 15, 0.1, 22, 1),
    ("mini", 15, 1.0, 218, 1),
    ("regular", 10, 0.77, 100, 0.1),
    ("mini", 20, 0.10, 31.2, 0.1),
]


@pytest.mark.parametrize(("family", "rating", "millivolts", "expected", "within"), CHART)
def test_milliamperes_are_those_of_the_charts(family, rating, millivolts, expected, within):
    assert amps_ma(family, rating, millivolts) == pytest.approx(expected, abs=within)


# mA for one millivolt, from the data sheets' cold resistances
PER_MILLIVOLT = {
    "mini": {2: 18, 3: 30, 4: 43, 5: 56, 7.5: 92, 10: 135, 15: 218, 20: 312, 25: 424, 30: 541},
    "regular": {2: 19, 3: 32, 4: 44, 5: 56, 7.5: 92, 10: 130, 15: 208, 20: 296, 25: 397, 30: 508},
}


@pytest.mark.parametrize("family", PER_MILLIVOLT)
def test_one_millivolt_is_so_much_current(family):
    assert {rating: round(amps_ma(family, rating, 1.0)) for rating in RESISTANCES[family]} == PER_MILLIVOLT[family]


# the same miniature data sheet: typical drop in mV at rated current
DROPS = {2: 171, 3: 153, 4: 121, 5: 129, 7.5: 135, 10: 108, 15: 98, 20: 96, 25: 86, 30: 87}


def test_the_drop_at_rated_current_would_be_the_wrong_resistance():
    hot = {rating: drop / rating for rating, drop in DROPS.items()}
    assert hot[10] == pytest.approx(10.8, abs=0.01)
    cold, _ = cold_resistance("mini", 10)
    assert hot[10] / cold == pytest.approx(1.46, abs=0.01)
    ratios = [hot[rating] / RESISTANCES["mini"][rating][0] for rating in DROPS]
    assert min(ratios) == pytest.approx(1.29, abs=0.01)
    assert max(ratios) == pytest.approx(1.66, abs=0.01)


# power laws fitted to the same tables elsewhere: a mistyped row would stand out
LAWS = {"mini": (133.3, -1.251, 0.023, 2), "regular": (120.5, -1.199, 0.038, 3)}


@pytest.mark.parametrize("family", LAWS)
def test_no_row_of_the_table_stands_out(family):
    factor, power, error, least = LAWS[family]
    for rating, (resistance, _) in RESISTANCES[family].items():
        if rating >= least:
            assert resistance == pytest.approx(factor * rating**power, rel=error + 0.001)  # last digit of the fit


def test_a_fuse_at_60_degrees_has_a_sixth_more_resistance():
    warm = reading(Measured("F", "mini", 10, 1.0), 60.0)
    assert warm.resistance_mohm / 7.42 == pytest.approx(1.16, abs=0.005)
    assert PER_KELVIN == 0.0039
