"""The track: the plan and the battery brought together on nodes in time, exact between them for piecewise lines.

Nodes stand at every sharp edge (twice: before and after the jump), at every knot, and densely after each edge, where
overvoltages move fast. Between nodes current and volts are lines. All that is rendered, at any rate, is read off here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from monitor.base.samples import SECOND_US, Floats, Ints
from monitor.simulate.battery import CELL_V, Battery
from monitor.simulate.climate import air_celsius
from monitor.simulate.pieces import add, flat, us
from monitor.simulate.plan import Plan
from monitor.simulate.scenario import Scenario

FIRST_STEP_S, GROWTH, LONGEST_STEP_S = 0.05, 1.7, 30.0
LOAD_MEMORY_S = 4.0  # the engine computer's picture of the loads lags by this; our choice
THERMAL_S = 3 * 3600.0  # a battery's box follows the air within hours; our choice
ENGINE_WARMTH_K = 18.0  # air around the battery in a drive; our choice


@dataclass(frozen=True, slots=True)
class Track:
    """Course of everything the battery shows, at nodes; arrays of shape (n,).

    t_us     int64 µs UTC, not decreasing; equal pairs are jumps
    amps     + into the battery; volts at the sense point; celsius of the battery
    soc      state of charge; ocv open-circuit volts; emf volts at no current, not yet relaxed
    ohm      ohmic resistance seen at the sense point
    """

    t_us: Ints
    amps: Floats
    volts: Floats
    celsius: Floats
    soc: Floats
    ocv: Floats
    emf: Floats
    ohm: Floats

    def between(self, start_us: int, end_us: int) -> slice:
        """Nodes from just after any jump at `start_us` to just before any jump at `end_us`."""
        i = int(np.searchsorted(self.t_us, start_us, "right")) - 1
        return slice(max(i, 0), int(np.searchsorted(self.t_us, end_us, "left")) + 1)

    def mean(self, values: Floats, start_us: int, end_us: int) -> float:
        """Time mean of a node array between two instants that are nodes."""
        part = self.between(start_us, end_us)
        t = self.t_us[part]
        v = values[part]
        return float(np.sum(np.diff(t) * (v[1:] + v[:-1])) / 2 / (t[-1] - t[0]))


def _nodes(plan: Plan) -> Ints:
    pieces = [*plan.loads, *plan.starter, *(s.volts for s in plan.supplies)]
    ends = [plan.start, plan.end]
    ends += [t for p in pieces for t in (p.start, p.end)]
    ends += [t for train in plan.pulses for t in (train.start, train.end)]
    for stand in plan.stands:
        ends += [stand.start, stand.end, stand.asleep_until, stand.settled or stand.start]
    for drive in plan.drives:
        ends += [drive.start, drive.end, drive.crank.end, drive.crank.steady, drive.crank.firing]
    edges = np.unique(np.array(ends, dtype=np.int64))
    edges = edges[(edges >= plan.start) & (edges <= plan.end)]
    steps = [FIRST_STEP_S]
    while steps[-1] < LONGEST_STEP_S:
        steps.append(steps[-1] * GROWTH)
    offsets = np.round(np.cumsum(steps) * SECOND_US).astype(np.int64)
    grid = [p.t_us[1:-1] for p in pieces if len(p.t_us) > 2]
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if b - a > offsets[-1]:
            grid.append(a + offsets)
            grid.append(np.arange(a + offsets[-1] + us(LONGEST_STEP_S), b, us(LONGEST_STEP_S)))
        else:
            grid.append(a + offsets[: int(np.searchsorted(offsets, b - a))])
    inner = np.setdiff1d(np.concatenate(grid), edges) if grid else np.empty(0, np.int64)
    inner = inner[(inner > plan.start) & (inner < plan.end)]
    return np.sort(np.concatenate([edges, edges, inner]))


def run_battery(scenario: Scenario, plan: Plan) -> Track:
    """Step the battery through the plan; a week takes about a second."""
    t_us = _nodes(plan)
    demand = add(plan.loads + [flat(p.start, p.end, p.mean_a) for p in plan.pulses], t_us).tolist()
    starter = add(plan.starter, t_us).tolist()
    target = add([s.volts for s in plan.supplies], t_us).tolist()
    supply_at = _index(t_us, [(s.volts.start, s.volts.end) for s in plan.supplies])
    warm = (_index(t_us, [(d.start, d.end) for d in plan.drives]) >= 0).astype(np.float64)
    around = (air_celsius(scenario, t_us) + ENGINE_WARMTH_K * warm).tolist()
    battery = Battery(scenario.battery)
    joint = scenario.vehicle.connection
    battery.at(25.0)
    locked_ohm = 12.6 * battery.scale / (scenario.vehicle.inrush * scenario.vehicle.starter) - battery.r0
    short = scenario.battery.shorted_cell
    lost = np.zeros(len(t_us))
    if short is not None:
        lost = CELL_V * np.clip(((t_us - plan.start) / 1e6 - short.after) / max(short.over, 1.0), 0.0, 1.0)
    lost_v = lost.tolist()
    dt_s = np.diff(t_us, prepend=t_us[:1]) / SECOND_US
    out = np.empty((7, len(t_us)))
    celsius, was, usual = around[0], 0.0, 0.0
    economy_before = False
    for i, (dt, load, start_a, held_v, which) in enumerate(
        zip(dt_s.tolist(), demand, starter, target, supply_at.tolist(), strict=True)
    ):
        celsius += (around[i] - celsius) * (1.0 - math.exp(-dt / THERMAL_S))
        battery.at(celsius)
        battery.lost_v = lost_v[i]
        if start_a > 0.0:
            most = (battery.emf() - (battery.r0 + joint) * load) / (battery.r0 + joint + locked_ohm)
            load += min(start_a, max(most, 0.0))
        polarising = None
        if which < 0:
            amps = -load
            economy_before = False
        else:
            supply = plan.supplies[which]
            if supply.economy and battery.soc > supply.charge_below:
                usual = usual + (load - usual) * (1.0 - math.exp(-dt / LOAD_MEMORY_S)) if economy_before else load
                economy_before = True
                amps = usual + supply.bias_a - load
                volts = battery.emf() + (battery.r0 + joint) * amps
                if not supply.floor_v < volts < supply.ceiling_v:
                    bound = supply.ceiling_v if volts >= supply.ceiling_v else supply.floor_v
                    amps = polarising = battery.held(dt, bound, joint)
            else:
                economy_before = False
                series = joint + supply.cable_ohm
                amps = polarising = battery.held(dt, held_v - supply.cable_ohm * load, series)
            if amps > supply.max_a - load:
                amps, polarising = supply.max_a - load, None
            if amps < -load:
                amps, polarising = -load, None
        mean = 0.5 * (was + amps)
        battery.step(dt, mean if polarising is None else polarising, mean)
        was = amps
        ocv = battery.ocv()
        emf = ocv + battery.v1 + battery.v2 + battery.v3
        ohm = battery.r0 + joint
        out[:, i] = (amps, emf + ohm * amps, celsius, battery.soc, ocv, emf, ohm)
    return Track(t_us, *out)


def _index(t_us: Ints, spans: list[tuple[int, int]]) -> Ints:
    """Number of the span each node lies in, −1 outside; the twin nodes of an edge fall on either side of it."""
    found = np.full(len(t_us), -1, dtype=np.int64)
    for number, (start, end) in enumerate(spans):
        i = int(np.searchsorted(t_us, start, "left")) + 1
        j = int(np.searchsorted(t_us, end, "left")) + 1
        found[i:j] = number
    return found
