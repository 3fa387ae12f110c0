"""Lines read a few at a time are the same rows, faults and places as by the recorded logs' own ways."""

from __future__ import annotations

from datetime import datetime
from operator import methodcaller
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.sources.careful import careful_rows
from monitor.sources.header import Source
from monitor.sources.layout import Layout
from monitor.sources.live.spoken import spoken_rows
from monitor.sources.rows import Rows
from monitor.sources.times import TimePlan
from monitor.sources.typed import typed_rows
from monitor.sources.units import Unit
from monitor.sources.zones import LocalClock

OSLO = ZoneInfo("Europe/Oslo")
PLANS = [
    TimePlan("zoned"),
    TimePlan("local"),
    TimePlan("text", "ymd"),
    TimePlan("text", "dmy"),
    TimePlan("text", "mdy"),
    TimePlan("number"),
    TimePlan("number", unit_us=1e3, relative=True),
]
ODD_TIMES = [
    "", " ", "x", "2024-02-30 10:00", "2024-03-31 02:30:00", "1969-12-31 23:59:59", "2200-01-01", "2024-10-27 02:59:59",
    "2024-10-27 02:00:00.5", "24:00", "1.1.2024 12:00 am", "1.1.2024 13:00 PM", "1/2/2024 0:30 pm", "1e12", "-5", "nan",
    "2024-01-02T03:04:05.123456789+0545", "2024-01-02 03:04:05 -03", "2024-01-02,03:04:05", "2024-01-02 03:04:60",
]  # fmt: skip
ODD_FIGURES = [
    "", " ", "12", "+.5", "5.", "1e3", "1E-400", "1e999", "-1e999", "9.9e37", "9.91E37", "9.9049e37", "OL", "-o.l.",
    "overflow", "Infinity", "inf", "nan", "NaN", "--", "1_000", "0x10", "1,5", "1.234,5", "٣", "12.5V", "ınf",
    "\x1f12", "12\u00a0", "1 2",
]  # fmt: skip


def layout(plan: TimePlan, two: bool, decimal: str, separator: str) -> Layout:
    """Time in one column or two, then volts and milliamps."""
    time = (0, 1) if two else (0,)
    at = len(time)
    channels = {"volts": Source(at), "amps": Source(at + 1, Unit(1e-3), -1)}
    return Layout(separator, decimal, 1, "t;volts;amps", at + 2, time, plan, channels, {})


def moments() -> st.SearchStrategy[str]:
    """Times as loggers write them, about the hours that clocks skip and repeat."""
    written = st.datetimes(datetime(2024, 3, 30, 22), datetime(2024, 11, 1))
    forms = ["%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%d %H:%M:%S.%f", "%d.%m.%Y %H:%M", "%m/%d/%Y %I:%M:%S %p", "%Y/%m/%d"]
    return st.builds(lambda moment, form: moment.strftime(form), written, st.sampled_from(forms))


def texts(common: st.SearchStrategy[str], odd: list[str]) -> st.SearchStrategy[str]:
    """Mostly what is usual."""
    return st.one_of(common, common, st.sampled_from(odd))


times_written = texts(st.one_of(moments(), st.integers(0, 2**31).map(str)), ODD_TIMES)
figures = texts(st.floats(-2e3, 2e3).map(repr), ODD_FIGURES)
rows = st.tuples(times_written, figures, figures).map(list)
others = st.sampled_from(["# remark", "", "   ", "t;volts;amps", "// a;b;c", "1;2;3;4;5", "x", 'a"b;1;2', '"1";2;"3"'])


def lines(separator: str, two: bool) -> st.SearchStrategy[bytes]:
    """Whole lines, most of them rows."""

    def line(cells: list[str]) -> str:
        time = cells[0].partition(" ") if two else None
        return separator.join([*(cells[:1] if time is None else [time[0], time[2]]), *cells[1:]])

    plain = rows.map(line)
    one = st.one_of(plain, plain, plain, others).map(lambda text: text.encode())
    broken = st.binary(max_size=6).map(lambda data: data.replace(b"\n", b""))
    ends = st.sampled_from([b"\n", b"\r\n"])
    return st.lists(st.tuples(st.one_of(one, one, one, broken), ends), max_size=12).map(
        lambda parts: b"".join(data + end for data, end in parts)
    )


def told(rows: Rows) -> object:
    """All there is to know of rows, to be compared."""
    cells = {
        name: [(value if not flaw else None, flaw) for value, flaw in zip(cells.values.tolist(), flaws, strict=True)]
        for name, cells in rows.channels.items()
        for flaws in [[0] * len(rows.t_us) if cells.flaws is None else cells.flaws.tolist()]
    }
    places = [rows.where(row) for row in range(len(rows.t_us))]
    return rows.t_us.tolist(), cells, places, rows.faults, rows.lines


@settings(max_examples=600, deadline=None)
@given(st.data(), st.sampled_from(PLANS), st.booleans(), st.sampled_from(".,"), st.sampled_from(";\t,"), st.booleans())
def test_as_the_careful_way(
    data: st.DataObject, plan: TimePlan, two: bool, decimal: str, separator: str, zone: bool
) -> None:
    how = layout(plan, two and plan.kind != "number", decimal, separator)
    ours, theirs = (LocalClock(OSLO) if zone else None for _ in range(2))
    first = 7
    for _ in range(data.draw(st.integers(1, 3))):  # the clock remembers
        written = data.draw(lines(separator, len(how.time) == 2))
        here, there = spoken_rows("log", how, ours, written, first), careful_rows("log", how, theirs, written, first)
        assert told(here) == told(there)
        assert (ours and ours.state()) == (theirs and theirs.state())
        first += here.lines


@settings(max_examples=300, deadline=None)
@given(st.data(), st.sampled_from(PLANS), st.booleans())
def test_as_the_fast_way_where_that_answers(data: st.DataObject, plan: TimePlan, zone: bool) -> None:
    how = layout(plan, False, ".", ";")
    ours, theirs = (LocalClock(OSLO) if zone else None for _ in range(2))
    form = {"zoned": "%Y-%m-%dT%H:%M:%S.%fZ", "local": "%Y-%m-%d %H:%M:%S.%f"}.get(plan.kind)
    time = moments() if plan.kind == "text" else st.floats(0, 2e8).map(repr)
    if form is not None:
        time = st.datetimes(datetime(1971, 1, 1), datetime(2199, 1, 1)).map(methodcaller("strftime", form))
    row = st.tuples(time, st.floats(-2e3, 2e3).map(repr), st.just("") | st.floats(-9e3, 9e3).map(repr)).map(";".join)
    written = "".join(f"{one}\n" for one in data.draw(st.lists(row, max_size=8))).encode()
    there = typed_rows("log", how, theirs, written, 1)
    if there is not None:
        assert told(spoken_rows("log", how, ours, written, 1)) == told(there)


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: f"{plan.kind} {plan.order}")
def test_each_plan_reads_something(plan: TimePlan) -> None:
    """That the laws above are not about refused lines alone."""
    usual = {"zoned": "2024-05-06T07:08:09Z", "local": "2024-05-06 07:08:09", "number": "1714979289"}
    orders = {"ymd": "2024-05-06 07:08", "dmy": "06.05.2024 07:08", "mdy": "05/06/2024 07:08"}
    time = usual.get(plan.kind, orders[plan.order])
    time = "12.5" if plan.relative else time
    rows = spoken_rows("log", layout(plan, False, ".", ";"), None, f"{time};12.6;-20\n".encode(), 1)
    assert (rows.channels["volts"].values.tolist(), rows.channels["amps"].values.tolist()) == ([12.6], [0.02])
    assert not rows.faults
