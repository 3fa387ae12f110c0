"""Law: each line of input is a sample, is counted, or carries none of our channels; whatever the chunk it falls in."""

import random
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.base.errors import InputError
from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from monitor.sources.admit import KEPT
from tests.sources.conftest import Whole, read_all


@dataclass(frozen=True)
class Line:
    text: str
    is_row: bool = True


_number = st.sampled_from(["12.5", "12.4", "0.3", "25", "OL", "nan", "", "x", "1e999", " 12.6 ", '"12.7"', "-12,5"])
_time = st.one_of(
    st.integers(0, 40).map(lambda s: f"2024-03-01T12:00:{s:02d}Z"),
    st.sampled_from(
        ["2024-03-01T11:00:00Z", "2034-03-01T12:00:00Z", "2024-03-01 12:00:07.5+01:00", "", "noon", "1969-01-01"]
    ),
)
_row = st.tuples(_time, _number, _number, st.sampled_from(["", "800"])).map(lambda cells: Line(",".join(cells)))
_junk = st.text(st.characters(exclude_characters="\n", exclude_categories=["Cs"]), max_size=30).map(
    lambda text: Line(text, is_row=bool(text.encode().strip()) and not text.lstrip().startswith(("#", "//", ";")))
)
_others = st.sampled_from(
    [Line("", False), Line("   ", False), Line("# remark, with, three, commas", False), Line("time,volts,amps,rpm")]
)


def _open(content: bytes, chunk_bytes: int) -> Whole:
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "log.csv"
        path.write_bytes(content)
        return read_all(open_logs([path], LogSettings(), chunk_bytes=chunk_bytes))


# The header, and rows enough that the layout is clear and something can be read.
_START = "time,volts,amps,rpm\n" + "".join(f"2024-03-01T11:59:{s:02d}Z,12.5,-1,800\n" for s in range(40))
_START_ROWS = 40


@given(
    st.lists(st.one_of(_row, _row, _junk, _others), max_size=40),
    st.sampled_from([1, 37, 200, 1000, 1 << 20]),
    st.booleans(),
)
@example([Line('1,"2,3'), Line('4",5,6,7')], 1 << 20, True)
@example([Line("a\rb,c,d,e")], 1 << 20, True)
@example([Line("#2024-03-01T12:00:00Z,12.5,1,2", False)], 1 << 20, True)
def test_every_line_is_accounted_for(lines: list[Line], chunk_bytes: int, ended: bool) -> None:
    text = _START + "\n".join(line.text for line in lines) + ("\n" if ended and lines else "")
    whole = _open(text.encode(), chunk_bytes)
    refused = sum(count for reason, count in whole.ledger.refused.items() if not reason.endswith(KEPT))
    accounted = whole.ledger.samples + refused + whole.ledger.duplicates + whole.log.merged + whole.log.others
    rows = _START_ROWS + sum(line.is_row for line in lines)
    if lines and not ended and not lines[-1].is_row and lines[-1].text.strip():
        rows += 1  # an unended remark is a cut-off line as well
    assert accounted == rows
    assert whole.ledger.samples == len(whole.t_us)
    for reason, shown in whole.ledger.first.items():
        assert 0 < len(shown) <= whole.ledger.refused[reason]
        for line in shown:
            assert line.line > _START_ROWS + 1
            assert line.text[:2] == (text.split("\n")[line.line - 1])[:2] or not line.text[:2].isascii()


@given(st.lists(st.one_of(_row, _row, _junk, _others), max_size=40), st.integers(1, 3000))
def test_the_samples_and_the_books_do_not_depend_on_the_chunks(lines: list[Line], chunk_bytes: int) -> None:
    content = (_START + "".join(line.text + "\n" for line in lines)).encode()
    one, other = _open(content, 1 << 20), _open(content, chunk_bytes)
    np.testing.assert_array_equal(one.t_us, other.t_us)
    np.testing.assert_array_equal(one.volts, other.volts)
    assert one.amps is not None
    assert other.amps is not None
    np.testing.assert_array_equal(one.amps, other.amps)

    # reasons come in the order in which chunks tell of them; their counts and first lines are the same
    def counts(whole: Whole) -> object:
        ledger = whole.ledger
        shown = {reason: [(line.line, line.text) for line in lines] for reason, lines in ledger.first.items()}
        return (ledger.samples, ledger.refused, shown, ledger.duplicates, ledger.reordered, ledger.clock_steps,
                whole.log.others, whole.log.merged)  # fmt: skip

    assert counts(one) == counts(other)


@given(st.binary(max_size=600))
@example(b"PAR1" + b"\0" * 40)
@example(b"ARROW1\0\0" + b"\1" * 40)
@example(b"\xff\xff\xff\xff" + b"\1" * 40)
@example(b"\x1f\x8b" + b"\1" * 40)
@example(b"\x28\xb5\x2f\xfd" + b"\1" * 40)
@example(b"[" * 5000)
@example(b'{"a":' * 5000)
@example(b"\xff\xfet\0i\0")
def test_random_bytes_are_refused_as_a_log(content: bytes) -> None:
    with pytest.raises(InputError):
        _open(content, 100)


_REAL = {
    "csv": _START.encode(),
    "senml": b'[{"bn":"u","bu":"V","bt":1700000000,"v":12.5},\n{"t":1,"v":12.4},\n{"t":2,"v":12.3}]\n',
    "local": b"\xef\xbb\xbfDatum;Zeit;U (V);I (mA)\r\n" + b"01.03.2024;12:00:00;12,5;-30\r\n" * 4,
}


@pytest.mark.parametrize("kind", sorted(_REAL))
@given(seed=st.integers(0, 10**9), changes=st.integers(1, 12))
def test_a_log_with_random_damage_gives_samples_or_an_error_for_a_person(kind: str, seed: int, changes: int) -> None:
    rng = random.Random(seed)
    content = bytearray(_REAL[kind])
    for _ in range(changes):
        place = rng.randrange(len(content))
        match rng.randrange(3):
            case 0:
                content[place] = rng.randrange(256)
            case 1:
                del content[place : place + rng.randrange(1, 9)]
            case _:
                content[place:place] = rng.randbytes(rng.randrange(1, 9))
    try:
        whole = _open(bytes(content), rng.choice([1, 50, 1 << 20]))
    except InputError as error:
        assert error.remedy
    else:
        assert len(whole.t_us)
