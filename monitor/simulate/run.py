"""Running a scenario: plan, battery, logger; samples in blocks and the truth beside them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from monitor.base.fields import Span
from monitor.base.results import Result
from monitor.base.samples import Block, Floats
from monitor.simulate.layout import lay_out
from monitor.simulate.logger import clock_of, rows
from monitor.simulate.plan import Plan
from monitor.simulate.scenario import Scenario
from monitor.simulate.track import Track, run_battery
from monitor.simulate.truth import truth_of

BLOCK = 10_000  # samples


@dataclass(frozen=True, slots=True)
class Simulation:
    """A scenario that has been run: read its samples as often as you like.

    truth        what a perfect observer would find
    approaches   spans from unlocking to the crank: awake already, neither sleep nor a wake-up that ends
    """

    scenario: Scenario
    plan: Plan
    track: Track
    truth: Result
    approaches: list[Span]

    def rows(self) -> Iterator[Block]:
        """Rows as the logger writes them; times may repeat or go back where the scenario asks for that."""
        return rows(self.scenario, self.plan, self.track)

    def blocks(self, size: int = BLOCK) -> Iterator[Block]:
        """Samples with strictly increasing times, `size` at a time; the samples do not depend on it.

        Rows that repeat a time, or lie before it because the clock was set back, are left out; `rows` has them.
        """
        kept: list[Block] = []
        count, last = 0, np.iinfo(np.int64).min
        for portion in self.rows():
            increasing = np.maximum.accumulate(np.concatenate([[last], portion.t_us[:-1]])) < portion.t_us
            if len(portion) and increasing.any():
                kept.append(portion if increasing.all() else _pick(portion, increasing))
                count += len(kept[-1])
                last = int(kept[-1].t_us[-1])
            while count >= size:
                joined = _join(kept)
                yield joined[:size]
                kept = [joined[size:]]
                count -= size
        if count:
            yield _join(kept)


def run(scenario: Scenario, **changes: Any) -> Simulation:
    """Run a scenario; `changes` replace fields of it (`seed=3`, `days=2.0`)."""
    chosen = scenario.model_copy(update=changes)
    plan = lay_out(chosen)
    track = run_battery(chosen, plan)
    clock = clock_of(chosen.logger, plan)
    approaches = [
        Span(start=clock.read(stand.approach), end=clock.read(stand.end))
        for stand in plan.stands
        if stand.approach is not None
    ]
    return Simulation(chosen, plan, track, truth_of(chosen, plan, track), approaches)


def simulate(
    scenario: Scenario,
    seed: int | None = None,
    days: float | None = None,
    rate_hz: float | None = None,
    block: int = BLOCK,
) -> tuple[Iterator[Block], Result]:
    """Samples of a scenario in blocks of `block` samples, and the truth about them.

    `seed`, `days` and `rate_hz` replace the scenario's own. Deterministic; the samples do not depend on `block`.

    >>> from datetime import UTC, datetime
    >>> blocks, truth = simulate(Scenario(start=datetime(2025, 3, 3, tzinfo=UTC), days=0.01))
    >>> sum(len(b) for b in blocks), len(truth.stands)
    (8640, 1)
    """
    changes: dict[str, Any] = {}
    if seed is not None:
        changes["seed"] = seed
    if days is not None:
        changes["days"] = days
    if rate_hz is not None:
        changes["logger"] = scenario.logger.model_copy(update={"rate": rate_hz})
    done = run(scenario, **changes)
    return done.blocks(block), done.truth


def _pick(block: Block, which: Any) -> Block:
    return Block(
        block.t_us[which],
        block.volts[which],
        None if block.amps is None else block.amps[which],
        None if block.celsius is None else block.celsius[which],
    )


def _join(blocks: list[Block]) -> Block:
    if len(blocks) == 1:
        return blocks[0]

    def each(values: list[Floats | None]) -> Floats | None:
        present = [v for v in values if v is not None]
        return np.concatenate(present) if present else None

    return Block(
        np.concatenate([b.t_us for b in blocks]),
        np.concatenate([b.volts for b in blocks]),
        each([b.amps for b in blocks]),
        each([b.celsius for b in blocks]),
    )
