"""The usual words and units of the trade in headers."""

import pytest

from monitor.base.vehicle import LogSettings
from monitor.sources.header import recognise
from tests.sources.conftest import Read, Refused


@pytest.mark.parametrize(
    "title",
    ["volts", "Volts", "VOLTAGE", "Voltage [V]", "voltage_v", "V", "U", "U_batt", "Batt V", "V_batt", "Ubat",
     "battVoltage", "battery voltage (V)", "module_voltage_v", "Spannung", '"Voltage"', "voltage (at the posts)"],
)  # fmt: skip
def test_words_for_volts(read: Read, title: str) -> None:
    assert read(f"time,{title},rpm\n1,12.5,800\n").volts.tolist() == [12.5]


@pytest.mark.parametrize("title", ["mV", "Voltage [mV]", "voltage_mV", "U (mV)", "volts mV"])
def test_millivolts(read: Read, title: str) -> None:
    assert read(f"time,{title}\n1,12500\n").volts.tolist() == [12.5]


@pytest.mark.parametrize(
    "title", ["amps", "Current", "I", "I (A)", "current_A", "I_batt", "Battery current [A]", "Strom"]
)
def test_words_for_amps(read: Read, title: str) -> None:
    whole = read(f"time,volts,{title}\n1,12.5,-2\n")
    assert whole.amps is not None
    assert whole.amps.tolist() == [-2.0]


@pytest.mark.parametrize("title", ["current_mA", "I [mA]", "mA", "current mA"])
def test_milliamps(read: Read, title: str) -> None:
    whole = read(f"time,volts,{title}\n1,12.5,-2000\n")
    assert whole.amps is not None
    assert whole.amps.tolist() == [-2.0]


@pytest.mark.parametrize(
    ("title", "figure"),
    [("temp", "25"), ("temp °C", "25"), ("Temperature [degC]", "25"), ("celsius", "25"), ("temp °F", "77"),
     ("temp_F", "77"), ("Temperature (K)", "298.15"), ("battery temp", "25")],
)  # fmt: skip
def test_words_for_temperature(read: Read, title: str, figure: str) -> None:
    whole = read(f"time,volts,{title}\n1,12.5,{figure}\n")
    assert whole.celsius is not None
    # 77 °F: two roundings of numbers near 43 and 18, each at most 2**-49
    assert abs(whole.celsius[0] - 25.0) < 2 * 43 * 2.0**-52


def test_degrees_of_the_coolant_are_not_those_of_the_battery(read: Read) -> None:
    assert read("t_s,module_voltage_v,coolant_c,intake temp\n1,12.5,80,30\n").log.channels == ("volts",)


@pytest.mark.parametrize("title", ["current_ah", "charge [Ah]", "volts_max", "power_w", "current limit"])
def test_other_quantities_are_not_ours(title: str) -> None:
    assert recognise(["time", title], LogSettings()).channels == {}


def test_the_battery_goes_before_others(read: Read) -> None:
    assert read("time,solar voltage,battery voltage\n1,18,12.5\n").volts.tolist() == [12.5]


def test_two_columns_that_fit_equally_are_not_chosen_between(refused: Refused) -> None:
    error = refused("time,voltage 1,voltage 2\n1,12.5,12.6\n")
    assert "voltage 1, voltage 2" in error.what
    assert '[log] volts = { column = "voltage 1" }' in error.remedy


def test_two_temperatures_that_fit_equally_are_passed_over_and_said(read: Read) -> None:
    whole = read("time,volts,temp 1,temp 2\n1,12.5,20,30\n")
    assert whole.celsius is None
    assert any("temp 1, temp 2" in notice for notice in whole.log.notices)


def test_the_unit_of_the_vehicle_file_goes_before_that_of_the_header(read: Read) -> None:
    assert read("time,Voltage [V]\n1,12500\n", log={"volts": {"unit": "mV"}}).volts.tolist() == [12.5]
