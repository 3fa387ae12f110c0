"""Is a logger fitted so that it can be left alone? What was heard → findings; who asks and waits is elsewhere.

Each finding is ok, to mend or unknown, in one sentence with the numbers it rests on. Limits are our choice unless a
source is named: they lie where a log begins to mislead, not where a better logger would be nicer.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.base.fields import Part
from monitor.base.ledger import RefusedLine
from monitor.base.samples import SECOND_US, Block, Floats, Ints
from monitor.detect.texture import Texture

Judgement = Literal["ok", "mend", "unknown"]

SLOW_S = 10.0  # one sample in 10 s shows a sleep current; slower ones miss cranks and wake-ups (deploy/loggers.md)
CRANK_HZ = 3.0  # from here on the length of a crank is seen (deploy/loggers.md)
UNEVEN, LEAST_PAUSE_S = 5.0, 2.0  # an interval over five times its neighbours is a gap (monitor/detect/seconds.py)
REFUSED = 0.01  # share of lines refused; one at the start may be half a line
FINE_V, COARSE_V = 0.010, 0.040  # steps of ±5 mV for rest volts, ±20 mV for charging (deploy/loggers.md)
FINE_A, COARSE_A = 0.004, 0.010  # steps of ±2 mA for a limit of 35 mA, ±5 mA for wake-ups (deploy/loggers.md)
QUIET_V = 0.05  # scatter of single readings: a minute's mean at 1 Hz is eight times quieter
MODULE_A = 0.010  # the least that a module adds by waking; common practice
USUAL_LIMIT_A = 0.050  # common practice; what is hidden by noise here hides a drain of that size
ZERO_A = 0.002  # ±2 mA, zero included (deploy/loggers.md)
NEAR_S = 1.5  # what a slow line costs by itself; our choice
MOST_OFF_S = 60.0  # a logger's clock: marks and nights are still found
ZONE_S, MOST_ZONES_S = 900.0, 15 * 3600.0  # zones differ by quarters of an hour, from −12 to +14 h of UTC
WEEK_S, ROW_BYTES = 7 * 86400, 40  # what a week needs; bytes a row at most (measured: 5 to 37)
SHOWN, SHOWN_CHARACTERS = 2, 50  # refused lines that are shown, and how much of each


class Finding(Part):
    """One thing that was looked at: what was found, and what to mend."""

    name: str
    judgement: Judgement
    found: str
    mend: str | None = None


def ok(name: str, found: str) -> Finding:
    """As it should be."""
    return Finding(name=name, judgement="ok", found=found)


def to_mend(name: str, found: str, mend: str) -> Finding:
    """A log would mislead."""
    return Finding(name=name, judgement="mend", found=found, mend=mend)


def unknown(name: str, found: str) -> Finding:
    """Not known, and why."""
    return Finding(name=name, judgement="unknown", found=found)


@dataclass(frozen=True, slots=True)
class Scatter:
    """Smallest step between readings, and spread of single readings about their neighbours; None: too few."""

    step: float | None
    spread: float | None


def scatter(values: Floats) -> Scatter:
    """Step and spread of readings; a slow drift counts for neither.

    >>> scatter(np.array([12.5, 12.51, 12.5, 12.52, 12.5])).step
    0.01
    """
    known = values[np.isfinite(values)]
    if len(known) < 5:
        return Scatter(None, None)
    gaps = np.diff(np.unique(known))
    gaps = gaps[gaps > 1e-9]
    step = float(f"{gaps.min():.3g}") if len(gaps) else None
    # differences of neighbours spread sqrt(2) as wide as the readings; the median is deaf to a lamp or two
    return Scatter(step, float(np.median(np.abs(np.diff(known)))) / 0.6745 / math.sqrt(2))


def by_second(t_us: Ints, values: Floats) -> Floats:
    """Means of the known readings of each whole second that has one; slower readings stay as they are."""
    known = np.isfinite(values)
    _, where = np.unique(t_us[known] // SECOND_US, return_inverse=True)
    return np.asarray(np.bincount(where, values[known]) / np.maximum(np.bincount(where), 1), np.float64)


def columns(channels: Collection[str], head: str, assumption: str) -> Finding:
    """Which channels were recognised, in what, and what was assumed of it."""
    seen = [name for name in ("volts", "amps", "celsius") if name in channels]
    told = f"{', '.join(seen) or 'nothing'} recognised" + (f' in "{head[:80]}"' if head else "")
    told += f"; {assumption}" if assumption else ""
    if "volts" not in seen:
        return to_mend("columns", told, "name the column of the volts, [log] volts = 2, or connect their channel")
    if "amps" not in seen:
        return unknown("columns", f"{told}; without amps a drain below some 250 mA stays unseen in one night")
    return ok("columns", told)


def rate(t_us: Ints, heard_s: float) -> Finding:
    """How often readings came within `heard_s`, and how evenly."""
    slow = f"let the logger write at least one reading in {SLOW_S:g} s: it misses cranks and short wake-ups"
    if len(t_us) < 3:
        found = f"{len(t_us)} readings in {heard_s:.0f} s"
        return to_mend("rate", found, slow) if heard_s >= 3 * SLOW_S else unknown("rate", found)
    steps = np.diff(t_us) / SECOND_US
    usual, longest = float(np.median(steps)), float(steps.max())
    often = f"{1 / usual:.3g} readings a second" if usual < 0.95 else f"a reading every {usual:.3g} s"
    found = f"{often}, longest pause {longest:.2g} s"
    if usual > SLOW_S:
        return to_mend("rate", found, slow)
    if longest > max(UNEVEN * usual, LEAST_PAUSE_S):
        return to_mend("rate", found, "look for a loose plug, a weak radio link, or a logger that writes in bundles")
    few = f"; the length of a crank needs {CRANK_HZ:g} a second" if usual > 1 / CRANK_HZ else ""
    return ok("rate", found + few)


def lines(samples: int, refused: Mapping[str, int], first: Mapping[str, Sequence[RefusedLine]]) -> Finding:
    """How many lines were understood, and the first that were not."""
    bad = sum(refused.values())
    if not bad:
        return ok("lines", f"all of {samples:,} understood")
    found = f"{samples:,} understood, {bad:,} refused: {examples(refused, first)}"
    if bad <= max(1, REFUSED * (samples + bad)):
        return ok("lines", found)
    return to_mend("lines", found, "look at these lines: speed and wiring of the port, what the logger sends, [log]")


def examples(refused: Mapping[str, int], first: Mapping[str, Sequence[RefusedLine]]) -> str:
    """The reasons, most frequent first, each with a line.

    >>> examples({"not a number": 3}, {"not a number": [RefusedLine("port", 7, "1,OL")]})
    'not a number (3, as "1,OL")'
    """
    reasons = sorted(refused, key=lambda reason: -refused[reason])[:SHOWN]
    shown = {reason: [line.text.strip()[:SHOWN_CHARACTERS] for line in first.get(reason, ())][:1] for reason in reasons}
    return ", ".join(f"{r} ({refused[r]:,}" + (f', as "{shown[r][0]}")' if shown[r] else ")") for r in reasons)


def fine_volts(block: Block) -> Finding:
    """Resolution and noise of the volts."""
    name, seen = "resolution (volts)", scatter(block.volts)
    if seen.spread is None or seen.step is None:
        return _no_step(name, len(block))
    found = _step_and_spread(seen, "V")
    if seen.step > COARSE_V:
        return to_mend(name, found, f"use a finer range: steps of {1000 * FINE_V:g} mV or less")
    if seen.spread > QUIET_V:
        mend = "twist the sense leads, keep them off ignition and alternator leads, let the logger average"
        return to_mend(name, found, mend)
    coarse = f"; charge at rest needs {1000 * FINE_V:g} mV (80 mV are 10 %)" if seen.step > FINE_V else ""
    return ok(name, found + coarse)


def fine_amps(block: Block) -> Finding | None:
    """Resolution and noise of the amps, and the smallest wake-up that shows above both; None: no such channel."""
    if block.amps is None:
        return None
    name, seen = "resolution (amps)", scatter(block.amps)
    if seen.spread is None or seen.step is None:
        return _no_step(name, len(block))
    noise = scatter(by_second(block.t_us, block.amps)).spread
    band = Texture(noise_a=seen.spread if noise is None else noise, quantum_a=seen.step).steady_a(0.0)
    least = max(MODULE_A, band)
    found = f"{_step_and_spread(seen, 'A')}; wake-ups show from {1000 * least:.0f} mA on"
    if seen.step > COARSE_A:
        return to_mend(name, found, f"use a finer range: steps of {1000 * FINE_A:g} mA or less")
    if least > USUAL_LIMIT_A:
        mend = "zero the clamp, put two or three turns through it, let the logger average, or use a shunt"
        return to_mend(name, found, mend)
    return ok(name, found + ("; a limit of 35 mA needs finer steps" if seen.step > FINE_A else ""))


def _no_step(name: str, count: int) -> Finding:
    return unknown(name, "too few readings" if count < 5 else "the reading never moved, so its step was not seen")


def _step_and_spread(seen: Scatter, unit: str) -> str:
    step, spread = (f"{1000 * (x or 0.0):.{1 if (x or 0.0) < 0.01 else 0}f}" for x in (seen.step, seen.spread))
    return f"steps of {step} m{unit}, readings scatter by {spread} m{unit}"


def zero(amps: Floats, allowed_a: float) -> Finding:
    """The reading while no current flows; `allowed_a` is what the vehicle file owns up to."""
    known = amps[np.isfinite(amps)]
    seen = scatter(known)
    if seen.spread is None:
        return unknown("zero", f"{len(known)} readings are too few")
    offset, doubt = float(np.mean(known)), 2 * seen.spread / math.sqrt(len(known))
    found = f"{1000 * offset:+.1f} mA with no current flowing"
    most = max(ZERO_A, allowed_a)
    if doubt > most and abs(offset) <= most + doubt:
        return unknown("zero", f"{found}, but so noisy that it is known to ± {1000 * doubt:.0f} mA only")
    if abs(offset) <= most:
        return ok("zero", found)
    mend = f'zero the clamp or logger, or own up to it: [log] zero_offset = "{math.ceil(1000 * abs(offset))} mA"'
    return to_mend("zero", found, mend)


def no_zero(allowed_a: float) -> Finding:
    """Nobody took the current away."""
    owned = (
        f"the vehicle file allows ± {1000 * allowed_a:g} mA" if allowed_a else '[log] zero_offset = "3 mA" allows some'
    )
    return unknown("zero", f"not looked at: 10 mA off are 10 mA of drain too much or too little; {owned}")


def disk(free_bytes: int | None, spare_bytes: float, usual_s: float | None) -> Finding:
    """Whether a week of readings has room."""
    if free_bytes is None:
        return unknown("disk", "the free space of the data folder cannot be told")
    need = spare_bytes + WEEK_S / (usual_s or 0.1) * ROW_BYTES
    found = f"{_bytes(free_bytes)} free; a week at this rate takes at most {_bytes(need)}, the reserve included"
    return ok("disk", found) if free_bytes >= need else to_mend("disk", found, "make room, or name another --data DIR")


def _bytes(count: float) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{count / 1e6:.0f} MB"


def clock(unset_why: str | None, stamped: bool, ahead_s: float | None, heard: bool = True) -> Finding:
    """This computer's clock, and how far the logger's own clock, if it gives the times, is ahead of it."""
    if unset_why is not None:
        return to_mend("clock", unset_why, "set this computer's clock, or give it a network with a time server")
    if not heard:
        return unknown("clock", "this computer's clock is set; whose clock gives the times was not heard")
    if stamped or ahead_s is None:
        return ok("clock", "the lines carry no time; this computer gives it, and its clock is set")
    if abs(ahead_s) < NEAR_S:
        return ok("clock", "the logger gives the times, and they agree with this computer's")
    found = (
        f"the logger gives the times, {_long(abs(ahead_s))} {'ahead of' if ahead_s > 0 else 'behind'} this computer's"
    )
    if abs(ahead_s) <= MOST_OFF_S:
        return ok("clock", found)
    if abs(ahead_s - ZONE_S * round(ahead_s / ZONE_S)) <= MOST_OFF_S and abs(ahead_s) < MOST_ZONES_S:
        found += ", as another zone or summer time would be"
        mend = 'set the logger\'s clock; or its zone, where the times have none: [log] time = { zone = "Europe/Oslo" }'
        return to_mend("clock", found, mend)
    return to_mend("clock", found, "set the logger's clock")


def _long(seconds: float) -> str:
    """
    >>> _long(3.2), _long(3600.0), _long(300000.0)
    ('3 s', '60 min', '83 h')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.0f} h"
