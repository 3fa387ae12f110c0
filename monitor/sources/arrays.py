"""pyarrow arrays → numpy arrays that share their memory, and so are only to be read.

pyarrow's own conversions (to_numpy, np.asarray, fill_null, scalars) import pandas wherever it is installed, which costs
0.4 s and 40 MiB; nobody here needs it. So the buffer is taken as the Arrow format lays it down.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from monitor.base.samples import Bools, Floats, Ints


def floats_of(array: Any) -> Floats:
    """Values of a float64 array; anything where it is null.

    >>> import pyarrow as pa
    >>> floats_of(pa.array([1.0, 2.5, None])[:2]).tolist()
    [1.0, 2.5]
    """
    return np.frombuffer(array.buffers()[1], np.float64, len(array), 8 * array.offset)


def ints_of(array: Any) -> Ints:
    """Values of an int64 array, or µs of a timestamp array in them; anything where it is null."""
    return np.frombuffer(array.buffers()[1], np.int64, len(array), 8 * array.offset)


def present(array: Any) -> Bools:
    """Whether each value is there, shape (n,).

    >>> import pyarrow as pa
    >>> present(pa.array([1.0, None])).tolist()
    [True, False]
    """
    import pyarrow as pa

    if not array.null_count:
        return np.ones(len(array), np.bool_)
    whole = array.is_valid().cast(pa.uint8())  # Arrow packs truth values into bits, numpy does not
    return np.frombuffer(whole.buffers()[1], np.bool_, len(array), whole.offset)
