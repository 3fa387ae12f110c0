"""The starter's current over one crank: inrush of the locked rotor, compression ripple, release.

Inrush 2–4 × the plateau for 20–60 ms (from memory); ripple frequency rpm/60 · cylinders/2 of a four-stroke engine.
"""

from __future__ import annotations

import numpy as np

from monitor.simulate.pieces import Piece, us
from monitor.simulate.plan import PlannedCrank
from monitor.simulate.scenario import VehicleSpec

STIFF_C, STIFF = (
    (-18.0, 0.0, 20.0),
    (1.7, 1.3, 1.0),
)  # current by temperature: warm 150 A, cold up to 300 A (trade text)
RISE_S = 0.004
RIPPLE = 0.22  # of the plateau, half the swing; our choice: current of a four-cylinder plainly shows compressions
EASING = 0.08  # the plateau falls so much while oil film and friction ease; our choice
FIRING_S = 0.08  # the engine helps the starter in its last moments


def crank(
    start_us: int, duration_s: float, vehicle: VehicleSpec, starts: bool, celsius: float, rng: np.random.Generator
) -> tuple[Piece, PlannedCrank]:
    """Drained amps of the starter at full battery and this temperature, and the truth about it."""
    duration_s = max(duration_s, 0.25)
    rpm = vehicle.crank_speed_rpm * (1 + 0.04 * float(rng.standard_normal()))
    stiff = float(np.interp(celsius, STIFF_C, STIFF))
    rpm /= np.sqrt(stiff)
    steady_a = vehicle.starter * stiff
    locked_a = max(vehicle.starter * vehicle.inrush, 1.3 * steady_a)  # a locked rotor does not feel the oil
    ripple_hz = rpm / 60 * vehicle.cylinders / 2
    firing_s = duration_s - (FIRING_S if starts else 0.02)
    fine = np.arange(0.0, 0.12, 0.002)
    coarse = np.arange(0.12, duration_s - 0.001, 0.005)
    t = np.unique(np.concatenate([[0.0, RISE_S, firing_s, duration_s], fine[fine < duration_s], coarse]).round(6))
    settled_in = 1.0 - np.exp(-t / 0.08)
    phase = 2 * np.pi * float(rng.random())
    amps = steady_a * (1 - EASING * t / duration_s)
    amps *= 1 + RIPPLE * settled_in * np.sin(2 * np.pi * ripple_hz * t + phase)
    amps += (locked_a - steady_a) * np.exp(-np.maximum(t - RISE_S, 0.0) / vehicle.inrush_decay)
    amps *= np.minimum(t / RISE_S, 1.0)
    release = 0.35 if starts else 0.9
    late = t > firing_s
    amps[late] *= 1 - (1 - release) * (t[late] - firing_s) / (duration_s - firing_s)
    steady = start_us + us(min(6 * vehicle.inrush_decay, 0.5 * duration_s))
    truth = PlannedCrank(start_us, steady, start_us + us(firing_s), start_us + us(duration_s), rpm)
    t_us = start_us + np.round(t * 1e6).astype(np.int64)
    return Piece(t_us, amps), truth
