import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitor.base.samples import Block
from monitor.store.codec import DamagedBlockError, decode, encode, pack_index, unpack_index
from tests.store.making import block, exactly

any_float = st.integers(0, 2**64 - 1)  # every pattern of bits: NaNs of all kinds, infinities, -0.0


@st.composite
def any_block(draw: st.DrawFn) -> Block:
    count = draw(st.integers(1, 40))
    steps = draw(arrays(np.int64, count, elements=st.integers(1, 2**40)))

    def column() -> np.ndarray:
        return draw(arrays(np.uint64, count, elements=any_float)).view(np.float64)

    return Block(
        np.cumsum(steps),
        column(),
        column() if draw(st.booleans()) else None,
        column() if draw(st.booleans()) else None,
    )


@given(any_block())
def test_every_bit_of_a_block_comes_back(whole: Block) -> None:
    assert exactly(decode(encode(whole))) == exactly(whole)


def test_an_absent_channel_is_not_one_without_readings() -> None:
    nothing = np.full(2, np.nan)
    found = decode(encode(Block(np.array([1, 2]), np.array([12.0, 12.1]), nothing, None)))
    assert found.amps is not None
    assert found.celsius is None


def test_no_changed_byte_goes_unseen() -> None:
    data = encode(block(0))
    for index in range(len(data)):
        damaged = bytearray(data)
        damaged[index] ^= 0x10
        with pytest.raises(DamagedBlockError):
            decode(bytes(damaged))


def test_no_cut_goes_unseen() -> None:
    data = encode(block(0))
    for length in range(len(data)):
        with pytest.raises(DamagedBlockError):
            decode(data[:length])


@given(st.lists(st.tuples(st.integers(1, 10**6), st.integers(1, 10**6), st.integers(0, 3)), min_size=1))
def test_the_lay_of_a_day_comes_back(parts: list[tuple[int, int, int]]) -> None:
    steps, counts, bits = zip(*parts, strict=True)
    positions = np.cumsum(steps).tolist()
    found = unpack_index(pack_index(positions, list(counts), list(bits)))
    assert [column.tolist() for column in found] == [positions, list(counts), list(bits)]
