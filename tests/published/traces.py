"""Logs built from published numbers: pieces of constant current and volts, sampled, with a logger's noise and steps."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.base.ledger import Ledger
from monitor.base.results import Result
from monitor.base.samples import SECOND_US, Block
from monitor.detect import Facts, replay

T0_S = 1_764_028_800  # 2025-11-25, midnight UTC
# Seeds are dates, so that none was looked for: the day these tests were written, and two before it.
SEEDS = (20261123, 20261124, 20261125)

NOISE_A, NOISE_V = 0.001, 0.001  # of a good shunt logger; our choice
STEP_A, STEP_V = 0.001, 0.001  # what it writes


@dataclass(frozen=True)
class Piece:
    """A stretch of constant amps (battery convention) and volts."""

    seconds: float
    amps: float
    volts: float
    noise_a: float = NOISE_A


def drain(seconds: float, amps: float) -> Piece:
    """A stretch of a stand; volts as of a rested battery with 10 mΩ."""
    return Piece(seconds, -amps, 12.6 - 0.01 * amps)


# A stand that is asleep, a crank of a second, a drive of a quarter of an hour: the stand that follows is seen from its
# beginning. The running engine's current is restless.
ARRIVAL = (drain(300, 0.02), Piece(1, -150, 10.2), Piece(900, 6.0, 14.3, noise_a=0.5))
ARRIVAL_S = sum(piece.seconds for piece in ARRIVAL)


def sampled(pieces: Sequence[Piece], hz: float, seed: int | None) -> Block:
    """The pieces one after another, sampled at `hz`; without noise and steps when there is no seed."""
    counts = [round(piece.seconds * hz) for piece in pieces]
    amps, volts, noise = (
        np.repeat([getattr(piece, name) for piece in pieces], counts) for name in ("amps", "volts", "noise_a")
    )
    if seed is not None:
        random = np.random.default_rng(seed)
        amps = np.round((amps + noise * random.standard_normal(len(amps))) / STEP_A) * STEP_A
        volts = np.round((volts + NOISE_V * random.standard_normal(len(volts))) / STEP_V) * STEP_V
    t_us = T0_S * SECOND_US + np.round(np.arange(len(amps)) * (SECOND_US / hz)).astype(np.int64)
    return Block(t_us, volts, amps)


def replayed(block: Block, facts: Facts | None = None) -> Result:
    """The result document of a log."""
    parts = (block[start : start + 10_000] for start in range(0, len(block), 10_000))
    return replay(parts, Ledger(), facts or Facts())


def after_s(t_us: int | None, begin_s: float) -> float:
    """Seconds of an instant after one that is counted from the log's start."""
    assert t_us is not None
    return t_us / SECOND_US - T0_S - begin_s
