"""SCPI-1999: what keywords are, what stands for overload and for not a number, how errors are told.

Volume 1: 6.2.1 (short and long form of a keyword, any case), 7.2.1.4 and 7.2.1.5 (±9.9E37, 9.91E37). Volume 2, 21.8
(SYSTem:ERRor?). The accepted and rejected keywords are those of an instrument maker's introduction. That *ESE 140 sets
bits 2, 3 and 7 is not checked here: no register of events is read, the error queue says more.
"""

import pytest

from monitor.base.ledger import Ledger
from monitor.base.tables.scpi import is_keyword
from monitor.base.vehicle import Vehicle
from monitor.sources.admit import Admission, Bounds, Tally
from monitor.sources.live.scpi import open_scpi
from tests.sources.live.scpi_instrument import Instrument
from tests.sources.live.watching import has_row, until


@pytest.mark.parametrize("text", ["VOLT", "VOLTage", "VolTaGe", "volt", "voltage"])
def test_short_and_long_form_are_keywords_in_any_case(text: str) -> None:
    assert is_keyword(text, "VOLTage")


@pytest.mark.parametrize("text", ["VOL", "VOLTAG", "VOLTAGES", ""])
def test_other_abbreviations_are_none(text: str) -> None:
    assert not is_keyword(text, "VOLTage")


def admitted(reply: str) -> tuple[list[float], dict[str, int]]:
    """Volts that are samples, and the books, after one reply of an instrument."""
    with Instrument() as instrument:
        instrument.replies["MEASure:VOLTage:DC?"] = reply
        logger = open_scpi(instrument.url, Vehicle.model_validate({"instrument": {"scpi": {}}}))
        rows = until(logger, has_row, "a row")[-1].rows
        logger.close()
    ledger = Ledger()
    assert rows is not None
    return Admission(Bounds.of(12.0), ledger, Tally()).admit(rows).channels["volts"].tolist(), ledger.refused


@pytest.mark.parametrize("reply", ["+1.26500000E+01", "12.65", "12.650", "+1265E-2", "1.265e1"])  # NR1, NR2, NR3
def test_numbers_of_ieee_488_2_are_readings(reply: str) -> None:
    assert admitted(reply) == ([12.65], {})


def test_not_a_number_is_no_reading() -> None:
    assert admitted("+9.91000000E+37") == ([], {"volts not a number": 1})


@pytest.mark.parametrize("reply", ["9.9E+37", "-9.90000000E+37"])
def test_overload_is_no_reading(reply: str) -> None:
    assert admitted(reply) == ([], {"volts overload": 1})


def test_an_error_of_the_queue_is_told_by_number_and_words() -> None:
    with Instrument() as instrument:
        del instrument.replies["MEASure:VOLTage:DC?"]
        settings = {"instrument": {"deadline": "300 ms", "scpi": {}}}
        logger = open_scpi(instrument.url, Vehicle.model_validate(settings))
        look = until(logger, lambda look: look.state == "error", "the error")[-1]
        logger.close()
    assert "-113, Undefined header" in look.why
