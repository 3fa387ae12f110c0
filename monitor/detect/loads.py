"""Load steps: loads switched on or off while standing, and the resistance they show.

Quiet, a change of at least STEP_A within a second or two, quiet again: ΔV/ΔI between the means of the quiet seconds on
both sides. It is the battery's resistance over some two seconds, joints up to the sensing point included; a crank shows
it over half a second at twenty times the current. Method: one-load form r = ΔV/ΔI, as for cranks.
Warm-up: the rows of one step. A gap or a slower rhythm than SLOWEST_S between the rows: no step is read.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monitor.base.results import LoadStep
from monitor.base.samples import SECOND_US, Seconds

STEP_A = 8.0  # 40 mV on 5 mΩ: four steps of a logger that resolves 10 mV; our choice
MOST_A = 60.0  # more is glow plugs or a starter, which cranks measure; our choice
QUIET_SHARE = 0.08  # the current of quiet seconds moves by less than this share of the step; our choice
CHARGE_A = 0.2  # more into the battery is a charger's or alternator's work
SLOWEST_S = 2  # between rows; slower loggers blur the step into what follows it
ROWS = 5  # two quiet, the step, two quiet
KEPT = 20  # steps of a stand that are told; our choice


@dataclass(slots=True)
class LoadsState:
    """The last rows of the seconds before, and the steps so far."""

    rows: Seconds = field(default_factory=lambda: Seconds.join([]))
    steps: list[LoadStep] = field(default_factory=list)
    last_us: int = 0


class LoadSteps:
    """Looks for steps in the seconds of one stand."""

    def __init__(self) -> None:
        self.state = LoadsState()

    def update(self, seconds: Seconds) -> None:
        """Take the next whole seconds."""
        state = self.state
        rows = Seconds.join([state.rows, seconds])
        state.rows = rows[max(len(rows) - ROWS + 1, 0) :]
        if len(rows) < ROWS or len(state.steps) >= KEPT:
            return
        apart = np.abs(rows.amps[ROWS - 2 :] - rows.amps[: 2 - ROWS])  # of a step, within 2 QUIET_SHARE of its size
        if not (apart >= (1.0 - 2.0 * QUIET_SHARE) * STEP_A).any():
            return
        window = np.lib.stride_tricks.sliding_window_view
        amps, low, high = (window(part, ROWS) for part in (rows.amps, rows.amps_min, rows.amps_max))
        change = amps[:, 3:].mean(axis=1) - amps[:, :2].mean(axis=1)
        span = np.maximum(np.ptp(amps[:, :2], axis=1), np.ptp(amps[:, 3:], axis=1))
        near = window(np.diff(rows.second), ROWS - 1).max(axis=1) <= SLOWEST_S
        whole = window(rows.gap_us, ROWS)[:, 1:].max(axis=1) == 0
        size = np.abs(change)
        with np.errstate(invalid="ignore"):
            found = (
                (size >= STEP_A)
                & (span <= QUIET_SHARE * size)
                & (high.max(axis=1) <= CHARGE_A)
                & (low.min(axis=1) >= -MOST_A - STEP_A)
                & (size <= MOST_A)
                & near
                & whole
            )
        for row in np.flatnonzero(found):
            self._tell(rows[row : row + ROWS], float(change[row]))

    def _tell(self, rows: Seconds, change_a: float) -> None:
        state = self.state
        at_us = int(rows.second[2]) * SECOND_US
        before, after = float(rows.volts[:2].mean()), float(rows.volts[3:].mean())
        doubled = state.steps and at_us - state.last_us < ROWS * SLOWEST_S * SECOND_US  # the same step, a row later
        if doubled or len(state.steps) >= KEPT or not np.isfinite(before + after):
            return
        state.last_us = at_us
        celsius = float(rows.celsius[2])
        state.steps.append(
            LoadStep(
                at=at_us,
                change_a=change_a,
                resistance_mohm=1000.0 * (after - before) / change_a,
                volts_before=before,
                celsius=None if np.isnan(celsius) else celsius,
            )
        )
