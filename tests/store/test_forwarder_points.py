"""Lines of line protocol: many rows at once say what one at a time says, and nothing is told of what is unknown."""

import math

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.store.points import point, table

Value = st.one_of(st.just(math.nan), st.floats(-1e6, 1e6).map(lambda x: round(x, 6)), st.just(-0.0), st.just(math.inf))
NAMES = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=12)


def parsed(line: str) -> tuple[str, dict[str, float], int]:
    """Series, fields and time."""
    head, fields, at = line.rsplit(" ", 2)
    return head, {name: float(value) for name, value in (part.split("=") for part in fields.split(","))}, int(at)


@given(st.lists(st.tuples(Value, Value, Value), max_size=8), NAMES)
def test_rows_at_once_are_the_points_one_by_one(rows: list[tuple[float, float, float]], name: str) -> None:
    columns = np.array(rows, np.float64).reshape(-1, 3).T
    fields = dict(zip(("volts", "amps", "celsius"), columns, strict=True))
    lines = list(table("keyoff_sample", {"vehicle": name}, np.arange(len(rows)) * 7, fields, few=0))
    one_by_one = [
        point("keyoff_sample", {"vehicle": name}, {key: float(column[i]) for key, column in fields.items()}, i * 7)
        for i in range(len(rows))
    ]
    assert [parsed(line) for line in lines] == [parsed(line) for line in one_by_one if line is not None]


@given(st.lists(st.tuples(st.floats(), Value), min_size=1, max_size=8))
@example([(1e15, 0.0), (9.9e15, 1.0), (1e16, 1.0), (1.2e-5, 1.2e-6), (5e-324, -1e-5), (9.99e-5, 1e-4)])
def test_few_rows_are_written_as_many_are(rows: list[tuple[float, float]]) -> None:
    fields = dict(zip(("volts", "amps"), np.array(rows, np.float64).T, strict=True))
    times = np.arange(len(rows)) * 7
    assert list(table("m", {"vehicle": "van"}, times, fields)) == list(
        table("m", {"vehicle": "van"}, times, fields, few=0)
    )


def test_a_value_that_is_not_known_is_left_out_and_never_zero() -> None:
    fields = {"volts": np.array([12.5, np.nan]), "amps": np.array([np.nan, np.nan])}
    assert list(table("m", {"vehicle": "van"}, np.array([1, 2]), fields)) == ["m,vehicle=van volts=12.5 1"]
    assert point("m", {"vehicle": "van"}, {"volts": None, "amps": math.nan}, 1) is None


def test_a_whole_number_is_a_float_too() -> None:
    """A field that is a whole number once and a fraction later must keep one type."""
    assert point("m", {}, {"stops": 3, "settled": True}, 1) == "m settled=1,stops=3 1"
