"""Scenes for detector tests: loads written down second by second, read by a logger of any rate.

The scene is drawn at 200 Hz or coarser and a logger takes the mean of its interval or the value at its instant.
"""

from __future__ import annotations

import numpy as np

from monitor.base.ledger import Ledger
from monitor.base.results import Result
from monitor.base.samples import SECOND_US, Block
from monitor.detect import Engine, Facts

T0 = 1_741_000_000 * SECOND_US
OHM = 0.006  # of the battery, for loads; our choice: 6 mΩ, a middle-sized battery (from memory)


class Scene:
    """Amps (battery convention) and volts over time; volts follow from the amps unless they are given."""

    def __init__(self, rest_v: float = 12.62) -> None:
        self.rest_v = rest_v
        self.parts: list[tuple[float, float, float, float | None, float | None]] = []
        self.now_s = 0.0

    def load(self, seconds: float, amps: float, to_amps: float | None = None, volts: float | None = None) -> Scene:
        """A load (negative) or charge for so long, sliding to another one if given."""
        self.parts.append((seconds, amps, amps if to_amps is None else to_amps, volts, volts))
        self.now_s += seconds
        return self

    def asleep(self, seconds: float, drain_a: float = 0.02) -> Scene:
        return self.load(seconds, -drain_a)

    def crank(self, seconds: float = 0.8, amps: float = 150.0, inrush: float = 420.0, key_on_s: float = 4.0) -> Scene:
        """Key on, inrush of 50 ms, the starter turning."""
        if key_on_s:
            self.load(key_on_s, -6.0)
        return self.load(0.05, -inrush, -amps).load(seconds - 0.05, -amps)

    def running(self, seconds: float, amps: float = 6.0, volts: float = 14.2) -> Scene:
        return self.load(seconds, amps, volts=volts)

    def managed(self, seconds: float) -> Scene:
        """The alternator commanded low: little battery current, which wanders with the loads."""
        random = np.random.default_rng(7)
        for _ in range(int(seconds)):
            self.load(1.0, float(random.normal(-0.4, 0.4)), volts=float(random.normal(12.75, 0.02)))
        return self

    def shutdown(self) -> Scene:
        """The staircase after key-off: 6 A, 2.5 A, 0.7 A, 0.15 A."""
        return self.load(12, -6.0).load(50, -2.5).load(180, -0.7).load(300, -0.15)

    def read(
        self,
        hz: float = 1.0,
        averaging: bool = True,
        noise_a: float = 0.0005,
        seed: int = 1,
        amps: bool = True,
        step_a: float = 0.0,
        from_s: float = 0.0,
        to_s: float | None = None,
    ) -> Block:
        """What a logger writes: means over its interval or values at its instants, noise, steps of its converter."""
        fine_hz = max(200.0 if hz >= 10 else 20.0 * min(hz, 1.0) if self.now_s < 40_000 else 2.0, hz)
        fine_hz = round(fine_hz / hz) * hz
        n = int(self.now_s * fine_hz)
        at = (np.arange(n) + 0.5) / fine_hz
        edges = np.cumsum([0.0, *(p[0] for p in self.parts)])
        which = np.minimum(np.searchsorted(edges, at, "right") - 1, len(self.parts) - 1)
        share = (at - edges[which]) / np.array([p[0] for p in self.parts])[which]
        start, end = (np.array([p[k] for p in self.parts])[which] for k in (1, 2))
        a = start + (end - start) * share
        given = np.array([np.nan if p[3] is None else p[3] for p in self.parts])[which]
        v = np.where(np.isnan(given), self.rest_v + OHM * np.minimum(a, 0.0) * 2, given)
        per = round(fine_hz / hz)
        rows = n // per
        if averaging:
            a, v = (x[: rows * per].reshape(rows, per).mean(axis=1) for x in (a, v))
        else:
            a, v = a[: rows * per : per], v[: rows * per : per]
        random = np.random.default_rng(seed)
        a = a + noise_a * random.standard_normal(rows)
        v = v + 0.001 * random.standard_normal(rows)
        if step_a:
            a = np.round(a / step_a) * step_a
        t = T0 + np.rint(np.arange(rows) / hz * SECOND_US).astype(np.int64)
        part = slice(int(from_s * hz), None if to_s is None else int(to_s * hz))
        return Block(t, v, a if amps else None)[part]


def document(block: Block, facts: Facts | None = None) -> Result:
    """All the engine finds in a log."""
    engine = Engine(facts or Facts())
    return engine.document(engine.update(block), Ledger())


def after_s(t_us: int | None) -> float:
    """Seconds since the scene began."""
    assert t_us is not None
    return (t_us - T0) / SECOND_US
