"""Which readings are believed."""

import math

import numpy as np
import pytest

from tests.sources.conftest import Read, Refused


def _row(cells: str) -> str:
    return f"time,volts,amps,celsius\n1,12.5,-1,20\n2,{cells}\n3,12.4,-1,20\n"


@pytest.mark.parametrize("text", ["OL", "ol", "O.L", "-OL", "OVLD", "inf", "-Inf", "9.9E37", "1e999"])
def test_an_overload_is_left_out_and_counted_and_the_row_kept(read: Read, text: str) -> None:
    whole = read(_row(f"9.8,{text},20"))
    assert whole.volts.tolist() == [12.5, 9.8, 12.4]
    assert whole.amps is not None
    assert math.isnan(whole.amps[1])
    assert whole.ledger.refused == {"amps overload (rest of row kept)": 1}


@pytest.mark.parametrize("text", ["NaN", "nan", "n/a", "---", "9.91E37", "12.3.4", "0x10"])
def test_what_is_no_number(read: Read, text: str) -> None:
    whole = read(_row(f"{text},-1,20"))
    assert np.isnan(whole.volts).tolist() == [False, True, False]
    assert whole.ledger.refused == {"volts not a number (rest of row kept)": 1}


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ("0.3,-1,20", "volts outside 2 to 20 V"),
        ("25,-1,20", "volts outside 2 to 20 V"),
        ("-12.5,-1,20", "volts outside 2 to 20 V"),
        ("12.5,3001,20", "amps outside -3000 to 3000 A"),
        ("12.5,-1,-127", "celsius outside -60 to 150 °C"),
    ],
)
def test_absurd_readings(read: Read, cells: str, reason: str) -> None:
    whole = read(_row(cells))
    assert len(whole.t_us) == 3
    assert whole.ledger.refused == {reason + " (rest of row kept)": 1}


@pytest.mark.parametrize("cells", ["2,3000,-60", "20,-3000,150"])
def test_the_bounds_themselves_are_believed(read: Read, cells: str) -> None:
    assert read(_row(cells)).ledger.refused == {}


def test_a_row_of_which_nothing_is_left_is_refused_once(read: Read) -> None:
    whole = read(_row("OL,NaN,"))
    assert len(whole.t_us) == 2
    assert whole.ledger.refused == {"volts overload": 1}


def test_blank_cells_are_unknown_not_refused(read: Read) -> None:
    whole = read(_row(",,19.5"))
    assert np.isnan(whole.volts[1])
    assert whole.ledger.refused == {}


def test_a_row_of_other_columns_only_is_passed_over(read: Read) -> None:
    whole = read("time,volts,rpm\n1,12.5,\n2,,800\n3,12.4,\n")
    assert whole.seconds == [1.0, 3.0]
    assert whole.ledger.refused == {}
    assert whole.log.others == 1


def test_bounds_follow_the_nominal_voltage(read: Read) -> None:
    whole = read("time,volts\n1,25\n2,39\n3,41\n4,3.9\n", nominal_v=24.0)
    assert whole.volts.tolist() == [25.0, 39.0]
    assert whole.ledger.refused == {"volts outside 4 to 40 V": 2}


def test_a_24_volt_log_names_the_setting(refused: Refused) -> None:
    error = refused("time,volts\n" + "".join(f"{i},25.{i % 10}\n" for i in range(100)))
    assert "line 2" in error.what
    assert "2 to 20 V" in error.what
    assert error.remedy == 'set [battery] nominal = "24 V"'


def test_a_6_volt_log_is_read_with_a_notice(read: Read) -> None:
    whole = read("time,volts\n" + "".join(f"{i},6.{i % 5}\n" for i in range(100)))
    assert any('nominal = "6 V"' in notice for notice in whole.log.notices)


def test_millivolts_without_a_unit_name_the_setting(refused: Refused) -> None:
    assert 'unit = "mV"' in refused("time,volts\n" + "".join(f"{i},1250{i % 10}\n" for i in range(100))).remedy


def test_a_computer_that_reads_nothing_for_most_of_the_night_is_no_other_battery(read: Read) -> None:
    rows = "".join(f"{i},{0.3 if i < 900 else 12.5}\n" for i in range(1000))
    whole = read("time,volts\n" + rows)
    assert len(whole.t_us) == 100
    assert whole.ledger.refused == {"volts outside 2 to 20 V": 900}
    assert whole.log.notices == []
