"""Planning a drive: the crank, the running loads and what comes and goes, stop-start stops."""

from __future__ import annotations

import numpy as np

from monitor.simulate.alternator import plan_charging
from monitor.simulate.climate import air_celsius
from monitor.simulate.crank import crank
from monitor.simulate.pieces import Piece, flat, us
from monitor.simulate.plan import Plan, PlannedDrive, stream
from monitor.simulate.scenario import Scenario, Trip

RESTART_S = 0.35  # a warm engine at a stop-start restart; our choice within 0.3–0.6 s
WARM_C = 20.0  # an engine that has just run turns as easily as on a summer day
STOP_LOAD = 1.1  # of the base load: loads stay on at a stop, 10–40 A from the battery
COLD_DAY_C = 7.0  # below: rear screen and blower at first


def plan_drive(plan: Plan, scenario: Scenario, number: int, start: int, end: int, trip: Trip) -> None:
    """Add the drive that begins with the crank at `start` and whose engine stops at `end`."""
    rng = stream(scenario.seed, "drive", number)
    car = scenario.vehicle
    celsius = float(air_celsius(scenario, np.array([start]))[0])
    cold = max(0.0, 15.0 - celsius)
    length = car.crank_duration * (1 + 0.015 * cold) * float(np.clip(1 + 0.12 * rng.standard_normal(), 0.6, 1.5))
    piece, truth = crank(start, length, car, True, celsius, rng)
    plan.starter.append(piece)
    plan.loads.append(flat(start, truth.end, car.key_on))
    end = max(end, truth.end + us(1.0))
    open_end = end > plan.end
    end = min(end, plan.end)
    stops = _stops(truth.end, end, trip.stops, rng)
    running = _spans(truth.end, end, stops)
    for a, b in stops:
        plan.loads.append(_noisy(a, b, STOP_LOAD * car.running, 0.3, rng))
        piece, again = crank(b, RESTART_S, car, True, WARM_C, rng)
        plan.starter.append(piece)
        plan.loads.append(flat(b, again.end, car.running))
        running = [(max(s, again.end), e) if s == b else (s, e) for s, e in running]
    for a, b in running:
        plan.loads.append(_noisy(a, b, car.running, 0.02 * car.running + 0.1, rng))
    _comfort(plan, scenario, truth.end, end, rng)
    drive = PlannedDrive(start, end, open_end, truth, None, "unknown", [], 0.0, stops)
    plan_charging(plan, scenario, drive, running, stream(scenario.seed, "charge", number))
    plan.drives.append(drive)


def _stops(start: int, end: int, count: int, rng: np.random.Generator) -> list[tuple[int, int]]:
    """Engine stops at the lights: 8–60 s, none in the first two minutes, apart from each other."""
    first, last = start + us(120.0), end - us(60.0)
    if count == 0 or last - first < us(90.0) * count:
        return []
    slot = (last - first) // count
    found = []
    for i in range(count):
        length = us(float(rng.uniform(8.0, 60.0)))
        at = first + i * slot + int(rng.random() * (slot - length - us(10.0)))
        found.append((at, at + length))
    return found


def _spans(start: int, end: int, holes: list[tuple[int, int]]) -> list[tuple[int, int]]:
    edges = [start, *(t for hole in holes for t in hole), end]
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a]


def _noisy(start: int, end: int, amps: float, sd: float, rng: np.random.Generator) -> Piece:
    """A load that wanders from second to second: injection, pump, fan and ignition; correlated over some seconds."""
    count = max(2, int((end - start) / 1_000_000) + 1)
    t = np.unique(np.linspace(start, end, count).round().astype(np.int64))
    steps = rng.standard_normal(len(t))
    smooth = np.convolve(steps, [0.15, 0.25, 0.3, 0.2, 0.1], "same") / 0.48
    return Piece(t, np.maximum(amps + sd * smooth, 0.2 * amps))


def _comfort(plan: Plan, scenario: Scenario, start: int, end: int, rng: np.random.Generator) -> None:
    """Blower, lamps, rear screen, brake lamps, wipers."""
    total = scenario.vehicle.comfort
    at = start
    while at < end:  # blower, set anew every few minutes
        until = min(at + us(max(20.0, float(rng.exponential(300.0)))), end)
        if until > at:
            plan.loads.append(flat(at, until, total * float(rng.uniform(0.1, 0.5))))
        at = until
    if rng.random() < 0.6:
        plan.loads.append(flat(start, end, 0.35 * total))
    if scenario.ambient.mean < COLD_DAY_C:
        plan.loads.append(flat(start, min(start + us(float(rng.uniform(300, 720))), end), 0.8 * total))
    at = start + us(float(rng.exponential(30.0)))
    while at < end:  # brake lamps
        until = min(at + us(float(rng.uniform(1.0, 7.0))), end)
        plan.loads.append(flat(at, until, 0.28 * total))
        at = until + us(2.0 + float(rng.exponential(35.0)))
    if rng.random() < 0.25 and end - start > us(300.0):
        at = start + us(float(rng.uniform(30.0, 120.0)))
        stop = at + us(float(rng.uniform(40.0, 150.0)))
        while at < stop:  # wipers
            plan.loads.append(flat(at, at + us(0.9), 0.3 * total))
            at += us(2.1)
