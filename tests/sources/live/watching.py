"""Looks at a live logger until something is seen, within a deadline."""

from __future__ import annotations

import time
from collections.abc import Callable

from monitor.sources.live.arrival import Arrival, LiveLogger

PATIENCE_S = 20.0  # a busy machine's; no test waits so long for what it expects


def until(logger: LiveLogger, seen: Callable[[Arrival], bool], what: str) -> list[Arrival]:
    """All arrivals up to and with the first that `seen` accepts; fails, saying `what` was awaited."""
    looks: list[Arrival] = []
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        looks.append(logger.poll(0.2))
        if seen(looks[-1]):
            return looks
    raise AssertionError(f"not seen: {what}; last: {looks[-1]}")


def has_row(look: Arrival) -> bool:
    return look.rows is not None and len(look.rows.t_us) > 0


def values(look: Arrival) -> dict[str, float]:
    """The figures of a one-row arrival, by channel, where they are good."""
    assert look.rows is not None
    cells = {name: (c.values, c.flaws) for name, c in look.rows.channels.items()}
    return {name: float(v[0]) for name, (v, f) in cells.items() if len(v) and (f is None or not f[0])}


def faults(looks: list[Arrival]) -> list[str]:
    return [bad.reason for look in looks if look.rows is not None for bad in look.rows.faults]
