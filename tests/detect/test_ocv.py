"""State of charge from published open-circuit tables, with honest width."""

import numpy as np
import pytest

from monitor.detect.ocv import AGM, EFB, FLOODED, GEL, TABLES, WET_DE, read_table, state_of_charge


@pytest.mark.parametrize("table", TABLES.values(), ids=TABLES)
def test_each_table_rises_from_empty_to_full(table):
    volts, share = np.array(table).T
    assert np.all(np.diff(volts) > 0)
    assert np.all(np.diff(share) > 0)
    assert (share[0], share[-1]) == (0.0, 1.0)


def test_between_rows_a_straight_line_is_read():
    # middle of 12.24 (50 %) and 12.45 (75 %)
    assert read_table(FLOODED, 12.345) == pytest.approx(0.625, abs=1e-9)


def test_beyond_its_ends_a_table_holds():
    assert (read_table(FLOODED, 11.0), read_table(FLOODED, 13.0)) == (0.0, 1.0)


def test_a_flooded_battery_at_12_27_v_is_about_half_full():
    charge = state_of_charge("flooded", 12.27)
    assert 0.45 <= charge.value <= 0.55
    assert charge.low <= 0.45
    assert charge.high >= 0.60


@pytest.mark.parametrize("kind", ["flooded", "efb", "agm", "gel", None])
@pytest.mark.parametrize("volts", [12.1, 12.3, 12.5])
def test_no_reading_is_narrower_than_ten_percent_either_way(kind, volts):
    charge = state_of_charge(kind, volts)
    assert charge.low <= charge.value - 0.10 + 1e-9 or charge.low == 0.0
    assert charge.high >= charge.value + 0.10 - 1e-9 or charge.high == 1.0


def test_a_flooded_reading_holds_the_other_flooded_table_too():
    # at 12.50 V the BCI table says 81 %, the other 70 %: more apart than the 10 %
    charge = state_of_charge("flooded", 12.50)
    assert charge.low <= read_table(WET_DE, 12.50) < charge.value - 0.10


def test_a_voltage_interval_widens_the_reading():
    exact, wide = state_of_charge("agm", 12.4), state_of_charge("agm", 12.4, 12.35, 12.45)
    assert wide.value == exact.value
    assert wide.low < exact.low < exact.high < wide.high


@pytest.mark.parametrize("volts", np.arange(11.9, 12.9, 0.05).tolist())
def test_an_unknown_kind_covers_what_every_lead_acid_table_says(volts):
    charge = state_of_charge(None, volts)
    for table in (FLOODED, WET_DE, EFB, AGM, GEL):
        assert charge.low <= read_table(table, volts) <= charge.high
    assert "kind not known" in charge.basis


def test_an_efb_battery_reads_lower_and_wider_than_flooded_at_one_voltage():
    flooded, efb = state_of_charge("flooded", 12.5), state_of_charge("efb", 12.5)
    assert efb.value < flooded.value
    assert efb.high - efb.low > 0.3


@pytest.mark.parametrize("volts", [12.90, 13.0, 13.2, 13.35])
def test_lifepo4_says_nothing_on_its_flat_part(volts):
    charge = state_of_charge("lifepo4", volts)
    assert (charge.value, charge.low, charge.high) == (None, None, None)


def test_lifepo4_says_nothing_when_its_interval_touches_the_flat_part():
    assert state_of_charge("lifepo4", 12.88, 12.83, 12.93).value is None
    assert state_of_charge("lifepo4", 13.38, 13.33, 13.43).value is None


def test_lifepo4_beside_the_flat_part_is_nearly_full_or_low():
    full, low = state_of_charge("lifepo4", 13.42), state_of_charge("lifepo4", 12.8)
    assert full.low >= 0.8
    assert low.value == pytest.approx(0.20)
    assert low.high >= 0.5  # one published table says 50 % at 12.8 V


@pytest.mark.parametrize(("nominal", "volts"), [(24.0, 24.48), (6.0, 6.12)])
def test_other_batteries_are_read_through_their_scale(nominal, volts):
    charge = state_of_charge("flooded", volts, scale=nominal / 12)
    assert charge.value == pytest.approx(0.5, abs=1e-9)
