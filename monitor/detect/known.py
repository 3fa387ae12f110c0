"""Figures of what is known: medians and extremes that leave NaN out, and are None where nothing is known."""

from __future__ import annotations

import numpy as np

from monitor.base.samples import Floats


def median_of(values: Floats) -> float | None:
    """Median of the known values.

    >>> median_of(np.array([1.0, np.nan, 3.0])), median_of(np.array([np.nan]))
    (2.0, None)
    """
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else None


def least_of(values: Floats) -> float | None:
    """Smallest of the known values."""
    known = values[np.isfinite(values)]
    return float(np.min(known)) if len(known) else None


def most_of(values: Floats) -> float | None:
    """Largest of the known values."""
    known = values[np.isfinite(values)]
    return float(np.max(known)) if len(known) else None
