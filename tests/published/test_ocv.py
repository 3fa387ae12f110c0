"""Open-circuit tables against published figures."""

import numpy as np
import pytest

from monitor.detect.ocv import AGM, FLOODED, GEL, SLOPE_V_PER_FULL, WET_DE, read_table


def bode(molality):
    """Volts of a cell at 25 °C by acid molality, mol/kg (H. Bode, Lead-Acid Batteries, Wiley 1977)."""
    x = np.log10(molality)
    positive = 1.628 + 0.074 * x + 0.033 * x**2 + 0.043 * x**3 + 0.022 * x**4
    negative = -0.294 - 0.074 * x - 0.030 * x**2 - 0.031 * x**3 - 0.012 * x**4
    return positive - negative


def molality_of_gravity(gravity):
    """mol/kg from specific gravity at 25 °C; densities by weight per cent from a handbook (from memory)."""
    percent = np.interp(gravity, [1.0994, 1.1365, 1.1750, 1.2150, 1.2563, 1.2991], [15, 20, 25, 30, 35, 40])
    return 1000 * percent / (98.08 * (100 - percent))


@pytest.mark.parametrize(("volts", "share"), [(12.65, 1.0), (12.45, 0.75), (12.24, 0.50), (12.06, 0.25), (11.89, 0.0)])
def test_flooded_rows_are_those_of_the_bci_table(volts, share):
    assert read_table(FLOODED, volts) == share


@pytest.mark.parametrize(
    ("table", "volts", "share"),
    [(AGM, 12.50, 0.60), (GEL, 12.45, 0.50), (WET_DE, 12.30, 0.50)],
    ids=["agm", "gel", "wet"],
)
def test_rows_of_the_german_trade_table(table, volts, share):
    assert read_table(table, volts) == share


@pytest.mark.parametrize(
    ("molality", "volts"),
    [(1, 1.9220), (2, 1.9746), (3, 2.0168), (4, 2.0546), (5, 2.0896), (6, 2.1226), (5.5, 2.10635)],
)
def test_the_bode_polynomial_is_copied_right(molality, volts):
    assert bode(molality) == pytest.approx(volts, abs=1e-4)


def test_pybamms_lead_acid_electrodes_give_the_same_polynomial():
    import pybamm

    values = pybamm.ParameterValues("Sulzer2019")
    positive, negative = (values[f"{side} electrode open-circuit potential [V]"] for side in ("Positive", "Negative"))
    for molality in (1.0, 3.0, 5.5):
        m = pybamm.Scalar(molality)
        cell = (positive(m) - negative(m)).evaluate()
        assert float(cell) == pytest.approx(bode(molality), abs=1e-9)


@pytest.mark.parametrize(
    ("gravity", "share"), [(1.265, 1.0), (1.225, 0.75), (1.190, 0.50), (1.155, 0.25), (1.120, 0.0)]
)
def test_the_bci_table_agrees_with_the_bode_polynomial_at_its_specific_gravities(gravity, share):
    table = np.interp(share, [s for _, s in FLOODED], [v for v, _ in FLOODED])
    # 5 % state of charge (38 mV) is half of what the program allows a table for
    assert 6 * bode(molality_of_gravity(gravity)) == pytest.approx(table, abs=0.05 * SLOPE_V_PER_FULL)


def test_a_drain_of_100_ma_on_60_ah_lowers_the_voltage_by_12_7_mv_in_ten_hours():
    drained = 0.1 * 10 / 60
    assert drained == pytest.approx(0.0167, abs=1e-4)
    assert SLOPE_V_PER_FULL * drained * 1e3 == pytest.approx(12.7, abs=0.1)
    assert pytest.approx(12.65 - 11.89) == SLOPE_V_PER_FULL
