"""Arrivals held until this computer's clock is set, with their times put right once it is.

A clock that is set forwards tells, by the size of the step, how wrong the times before it were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from monitor.service.reader import Taken


def restamped(held: Sequence[Taken]) -> list[Taken]:
    """The arrivals, those before a step forwards moved by its size; the steps stay reported where they were met."""
    shift_us = 0
    right: list[Taken] = []
    for one in reversed(held):
        arrival = one.arrival
        if shift_us and arrival.stamped and arrival.rows is not None:
            rows = replace(arrival.rows, t_us=arrival.rows.t_us + shift_us)
            one = replace(one, arrival=replace(arrival, rows=rows))
        shift_us += sum(round(size_s * 1e6) for _, size_s in arrival.clock_steps if size_s > 0)
        right.append(one)
    return right[::-1]
