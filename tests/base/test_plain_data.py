"""Samples, ledger, errors, state and result models: small promises that every room leans on."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from monitor.base.errors import InputError, KeyoffError, SettingError
from monitor.base.fields import Span, iso, micros
from monitor.base.ledger import FIRST_SHOWN, TEXT_KEPT, Ledger, RefusedLine
from monitor.base.results import Rest, Result, Stand
from monitor.base.samples import Block, Seconds
from monitor.base.state import from_plain, to_plain

YEAR_9999_US = 253_402_300_799_999_999


def test_a_block_is_cut_in_all_its_channels_and_keeps_absent_ones_absent() -> None:
    block = Block(np.arange(4), np.arange(4.0), amps=np.arange(4.0) * 2)
    part = block[1:3]
    assert len(part) == 2
    assert part.amps is not None
    assert part.amps.tolist() == [2.0, 4.0]
    assert part.celsius is None


def seconds(*values: int) -> Seconds:
    whole, real = np.array(values, np.int64), np.array(values, np.float64)
    return Seconds(whole, whole, real, real, real, real, real, real, real, whole, whole, whole, whole)


def test_seconds_are_joined_in_order() -> None:
    joined = Seconds.join([seconds(1, 2), seconds(), seconds(3)])
    assert joined.second.tolist() == [1, 2, 3]
    assert joined.in_nc.dtype == np.int64


def test_no_seconds_join_to_empty_arrays_of_the_right_kind() -> None:
    joined = Seconds.join([])
    assert len(joined) == 0
    assert joined.second.dtype == np.int64
    assert joined.volts.dtype == np.float64


def test_the_ledger_counts_all_and_keeps_the_first_lines_of_each_reason() -> None:
    book = Ledger()
    for line in range(10):
        book.refuse("not a number", RefusedLine("a.csv", line, "x" * 500))
    book.refuse("overload", count=7)
    assert book.refused == {"not a number": 10, "overload": 7}
    assert [row.line for row in book.first["not a number"]] == list(range(FIRST_SHOWN))
    assert {len(row.text) for row in book.first["not a number"]} == {TEXT_KEPT}
    assert "overload" not in book.first


@pytest.mark.parametrize("kind", [InputError, SettingError])
def test_an_error_is_two_printable_lines(kind: type[KeyoffError]) -> None:
    error = kind("night\x1b[2J.csv:\nbad", "use\tanother")
    assert (error.what, error.remedy, str(error)) == ("night?[2J.csv:?bad", "use?another", "night?[2J.csv:?bad")


@given(st.integers(min_value=-62_135_596_800_000_000, max_value=YEAR_9999_US))
def test_a_time_survives_its_iso_text(t_us: int) -> None:
    assert micros(iso(t_us)) == t_us


def test_unknown_is_null_and_not_zero_in_the_document() -> None:
    stand = json.loads(Stand(start=0).model_dump_json())
    assert {stand[key] for key in ("sleep_current_a", "charge_out_ah", "settled_at", "time_to_sleep_s")} == {None}
    assert set(stand["rest"].values()) == {None}


def test_the_document_reads_back_what_it_wrote() -> None:
    result = Result(
        vehicle="van", stands=[Stand(start=5, end=1_500_000, rest=Rest(volts=12.5), charges=[Span(start=1, end=2)])]
    )
    assert Result.model_validate_json(result.model_dump_json()) == result


def test_an_unknown_key_in_the_document_is_refused() -> None:
    with pytest.raises(ValidationError):
        Result.model_validate({"vehicles": "x"})


@given(st.lists(st.floats(allow_nan=False), max_size=5), st.integers(), st.text(max_size=5))
def test_state_survives_json_to_the_last_bit(numbers: list[float], whole: int, text: str) -> None:
    state = {"a": np.array(numbers), 3: (whole, text, None, True), "stand": Stand(start=whole)}
    back = from_plain(json.loads(json.dumps(to_plain(state))))
    assert back["a"].tobytes() == state["a"].tobytes()  # type: ignore[attr-defined]  # a mixed dict holds objects
    assert back[3] == state[3]
    assert back["stand"] == state["stand"]


def test_a_seconds_object_survives_state() -> None:
    back = from_plain(json.loads(json.dumps(to_plain(seconds(1, 2)))))
    assert back.volts.tolist() == [1.0, 2.0]


def test_state_names_no_class_outside_the_program() -> None:
    with pytest.raises(TypeError, match="not a class of this program"):
        from_plain({"!object": "os:system", "fields": {}})


def test_what_cannot_be_restored_is_not_stored() -> None:
    with pytest.raises(TypeError, match="cannot be part of a state"):
        to_plain(object())
