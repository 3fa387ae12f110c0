"""Quantities: what a person writes becomes a number in base units, or is refused with a reason."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.quantities import (
    CAPACITY,
    CURRENT,
    DURATION,
    USUAL,
    VOLTAGE,
    Dimension,
    _asked,
    parse_quantity,
    unit_factor,
)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("35 mA", CURRENT, 0.035),
        ("640A", CURRENT, 640.0),
        ("-5 µA", CURRENT, -5e-6),
        ("12 V", VOLTAGE, 12.0),
        ("12400 mV", VOLTAGE, 12.4),
        ("70 Ah", CAPACITY, 70.0),
        ("70 A·h", CAPACITY, 70.0),
        ("1.2e3 mAh", CAPACITY, 1.2),
        ("4 h", DURATION, 14400.0),
        ("110 min", DURATION, 6600.0),
        (" .5 s ", DURATION, 0.5),
        ("2 days", DURATION, 172800.0),
    ],
)
def test_a_quantity_is_read_in_base_units(text: str, dimension: Dimension, value: float) -> None:
    assert parse_quantity(text, dimension) == value


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("70", "unit is missing"),
        ("mA", "does not begin with a number"),
        ("70 Ah", "not a unit of current"),
        ("35 ma", "not a unit of current"),
        ("35 amps", "not a unit of current"),
        ("1,5 A", "decimal point"),
        ("9**9**9 A", "not a unit"),
        ("3 A**99999999", "not a unit"),
        ("3 A; import os", "not a unit"),
        ("1e999 A", "too large"),
        ("nan A", "does not begin with a number"),
        ("", "does not begin with a number"),
    ],
)
def test_a_wrong_quantity_is_refused_with_its_reason(text: str, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        parse_quantity(text, CURRENT)


@given(st.floats(min_value=-1e9, max_value=1e9), st.sampled_from(["A", "mA", "µA", "kA"]))
def test_number_and_unit_are_read_as_written(number: float, unit: str) -> None:
    factor = {"A": 1.0, "mA": 1e-3, "µA": 1e-6, "kA": 1e3}[unit]
    # 12 significant digits are kept: half a unit of the twelfth is 5e-12 of the value, of the factor's rounding 1e-16
    assert parse_quantity(f"{number!r} {unit}", CURRENT) == pytest.approx(number * factor, rel=6e-12, abs=0)


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_a_value_error(text: str) -> None:
    for dimension in (VOLTAGE, DURATION):
        try:
            assert isinstance(parse_quantity(text, dimension), float)
        except ValueError as refused:
            assert str(refused)


@given(st.text(alphabet="AVhsmkµΩ°*/ ·%dC", max_size=8))
def test_any_unit_is_a_factor_or_a_value_error(unit: str) -> None:
    try:
        assert unit_factor(unit, CURRENT) > 0
    except ValueError as refused:
        assert "unit" in str(refused)


@pytest.mark.parametrize(("unit", "base"), USUAL)
def test_a_usual_unit_is_what_the_units_library_says(unit: str, base: str) -> None:
    assert USUAL[unit, base] == _asked(unit, Dimension("a quantity", base, ""))
