"""Lines do not depend on what they are cut into, whatever ends them."""

from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.sources.live.splitter import LONGEST, Splitter

ENDS = [b"\n", b"\r\n", b"\r\r\n", b"\r"]


def split(data: bytes, cuts: list[int]) -> list[bytes]:
    places = sorted({0, len(data), *(cut for cut in cuts if cut <= len(data))})
    lines = Splitter()
    found = [line for a, b in pairwise(places) for line in lines.push(data[a:b])]
    return [*found, lines.cut()]


@pytest.mark.parametrize("end", ENDS)
@given(st.lists(st.binary(max_size=5).filter(lambda b: b"\n" not in b and b"\r" not in b), min_size=4), st.data())
def test_any_cut_gives_the_same_lines(end: bytes, texts: list[bytes], data: st.DataObject) -> None:
    whole = end.join(texts)
    cuts = data.draw(st.lists(st.integers(0, len(whole)), max_size=20))
    assert split(whole, cuts) == split(whole, []) == split(whole, list(range(len(whole))))


@given(st.binary(max_size=60))
@example(b"a\r\r\nb\r\r\n")
@example(b"\r\n\r\r")
def test_any_bytes_at_all_are_cut_alike(data: bytes) -> None:
    assert split(data, list(range(len(data)))) == split(data, [])


@pytest.mark.parametrize("end", ENDS)
def test_each_end_of_a_line_ends_it(end: bytes) -> None:
    lines = split(b"".join(text + end for text in (b"12.5", b"12.6", b"12.7")) + b"12", [])
    assert [line.strip() for line in lines if line.strip()] == [b"12.5", b"12.6", b"12.7", b"12"]


@pytest.mark.parametrize("step", [1000, LONGEST // 2, 10 * LONGEST])
def test_a_line_that_is_too_long_gives_its_beginning_once_and_the_next_is_whole(step: int) -> None:
    data = b"good\n" + b"x" * (3 * LONGEST) + b"\nnext\n"
    lines = Splitter()
    found = [line for at in range(0, len(data), step) for line in lines.push(data[at : at + step])]
    assert found == [b"good\n", b"x" * 1000, b"next\n"]
    assert lines.pending <= LONGEST
