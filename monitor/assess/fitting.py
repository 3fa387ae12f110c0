"""Is a logger fitted so that it can be left alone? Stretches of samples → findings; who asks and waits is elsewhere.

Each finding is ok, to mend or unknown, with the numbers it rests on. Limits are our choice unless a source is named:
they are set where a night's log would begin to mislead, not where a better logger would be nicer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.base.fields import Part
from monitor.base.samples import SECOND_US, Block, Floats

Judgement = Literal["ok", "mend", "unknown"]

SLOW_S = 10.0  # an interval above it misses cranks and short wake-ups
CRANK_HZ = 3.0  # from here on the length of a crank is seen (README)
UNEVEN = 20.0  # the longest interval may be so many times the usual one
REFUSED = 0.01  # share of lines refused
CHARGED_V, FLAT_V, CHARGING_V = (
    12.4,
    11.8,
    13.2,
)  # drain tests begin at 12.4 V (service manuals); the others from memory
FINE_V, FINE_A = 0.02, 0.005  # resolution that still shows a rest voltage's course, and a sleep current of 50 mA
QUIET_V, QUIET_A = 0.05, 0.1  # scatter of single readings; a minute's mean at 1 Hz is eight times quieter
ZERO_A = 0.005  # a tenth of the usual limit of 50 mA
LAMP_A = 0.3  # what any lamp draws at least, LED parking lamps too
DROP_A = 2.0  # a load from which the volts' answer can be judged
DROP_OHM = 0.05  # a battery answers with 3 to 15 milliohm, a sound lead to its posts adds none; from memory
MOST_OFF_S = 60.0  # a logger's clock
WEEK_S, ROW_BYTES = 7 * 86400, 40  # what a week needs; bytes a row at most (measured: 5 to 37)


class Finding(Part):
    """One thing that was looked at: what was found, and what to mend."""

    name: str
    judgement: Judgement
    found: str
    mend: str | None = None


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
    levels = np.unique(known)
    gaps = np.diff(levels)
    gaps = gaps[gaps > 1e-9]
    step = float(f"{gaps.min():.3g}") if len(gaps) else None
    # differences of neighbours spread sqrt(2) as wide as the readings; the median is deaf to a lamp or two
    spread = float(np.median(np.abs(np.diff(known)))) / 0.6745 / np.sqrt(2)
    return Scatter(step, float(spread))


def rate(t_us: np.ndarray, refused: int, heard_s: float) -> list[Finding]:
    """How often readings came within `heard_s`, how evenly, and how many lines are none."""
    too_slow = f"let the logger write at least one reading in {SLOW_S:g} s: cranks and short wake-ups are missed"
    if len(t_us) < 3:
        found = f"{len(t_us)} readings in {heard_s:g} s"
        judgement: Judgement = "mend" if heard_s >= 3 * SLOW_S else "unknown"
        return [Finding(name="rate", judgement=judgement, found=found, mend=too_slow)]
    steps = np.diff(t_us) / SECOND_US
    usual, longest = float(np.median(steps)), float(steps.max())
    found = f"a reading every {usual:.3g} s, the longest pause {longest:.3g} s"
    findings = []
    if usual > SLOW_S:
        findings.append(Finding(name="rate", judgement="mend", found=found, mend=too_slow))
    elif longest > max(UNEVEN * usual, 2.0):
        mend = "look for a loose plug, a weak radio link or a logger that writes in bundles"
        findings.append(Finding(name="rate", judgement="mend", found=found, mend=mend))
    else:
        slow = "; the length of a crank will not be seen" if usual > 1 / CRANK_HZ else ""
        findings.append(Finding(name="rate", judgement="ok", found=found + slow))
    share = refused / (refused + len(t_us))
    found = f"{refused:,} of {refused + len(t_us):,} lines refused"
    mend = "look at the reasons: keyoff status, or a log of it with keyoff replay; check speed, wiring and columns"
    bad = share > REFUSED
    findings.append(Finding(name="lines", judgement="mend" if bad else "ok", found=found, mend=mend if bad else None))
    return findings


def volts(values: Floats, nominal_v: float, hint: str | None) -> Finding:
    """Whether the volts are those of a rested battery of this kind; `hint`: the setting that they ask for."""
    known = values[np.isfinite(values)]
    if not len(known):
        mend = hint or "check the column or channel of the volts in the vehicle file"
        return Finding(name="volts", judgement="mend", found="no volts that a battery could have", mend=mend)
    scale = nominal_v / 12.0
    median = float(np.median(known))
    found = f"{median:.2f} V, for a battery of {nominal_v:g} V"
    if hint is not None:
        return Finding(name="volts", judgement="mend", found=found, mend=hint)
    if median >= CHARGING_V * scale:
        mend = "stop the engine, take the charger off, and check again: a battery at rest has less"
    elif median < FLAT_V * scale:
        mend = "the battery is flat, or the volts are not taken at its posts; compare with a meter, charge, check again"
    elif median < CHARGED_V * scale:
        mend = f"charge the battery first: a drain test begins at {CHARGED_V * scale:g} V or more (service manuals)"
    else:
        return Finding(name="volts", judgement="ok", found=found)
    return Finding(name="volts", judgement="mend", found=found, mend=mend)


def fine_enough(block: Block) -> list[Finding]:
    """Resolution and noise of volts and amps."""
    findings = [_fine("volts", scatter(block.volts), "V", FINE_V, QUIET_V)]
    if block.amps is None or not np.isfinite(block.amps).any():
        found = "no amps: a drain below some 250 mA stays unseen in one night"
        findings.append(Finding(name="amps", judgement="unknown", found=found))
    else:
        findings.append(_fine("amps", scatter(block.amps), "A", FINE_A, QUIET_A))
    return findings


def _fine(name: str, seen: Scatter, unit: str, step: float, spread: float) -> Finding:
    name = f"{name}, resolution and noise"
    if seen.spread is None:
        return Finding(name=name, judgement="unknown", found="too few readings")
    steps = "no step seen" if seen.step is None else f"steps of {1000 * seen.step:.3g} m{unit}"
    found = f"{steps}, readings scatter by {1000 * seen.spread:.3g} m{unit}"
    # A step can hide behind noise, never the other way round: only readings that stand still show their step.
    if seen.step is not None and seen.step > step:
        mend = f"use a finer range: {1000 * step:g} m{unit} or less"
        return Finding(name=name, judgement="mend", found=found, mend=mend)
    if seen.spread > spread:
        mend = "twist the sense leads, keep them off ignition and alternator leads, let the logger average"
        return Finding(name=name, judgement="mend", found=found, mend=mend)
    return Finding(name=name, judgement="ok", found=found)


def zero(amps: Floats, allowed_a: float) -> Finding:
    """The reading while no current flows; `allowed_a` is what the vehicle file owns up to."""
    known = amps[np.isfinite(amps)]
    if not len(known):
        return Finding(name="zero", judgement="unknown", found="no amps")
    offset = float(np.mean(known))
    found = f"{1000 * offset:.3g} mA with no current flowing"
    if abs(offset) <= max(ZERO_A, allowed_a):
        return Finding(name="zero", judgement="ok", found=found)
    mend = f'zero the clamp or logger, or own up to it: [log] zero_offset = "{math.ceil(1000 * abs(offset))} mA"'
    return Finding(name="zero", judgement="mend", found=found, mend=mend)


def lamps(before: Block, after: Block) -> list[Finding]:
    """What switching lamps on did: the sign of the current, and whether the volts are taken at the posts."""
    if len(before) and len(after) and (before.amps is None or after.amps is None):
        return [Finding(name="sign", judgement="unknown", found="no amps"), _no_drop("no amps")]
    none = np.empty(0)
    first = _mean(none if before.amps is None else before.amps)
    then = _mean(none if after.amps is None else after.amps)
    if first is None or then is None:
        return [Finding(name="sign", judgement="unknown", found="too few readings"), _no_drop("too few readings")]
    change = then - first
    found = f"{change:+.2f} A with the lamps on"
    if change <= -LAMP_A:
        sign = Finding(name="sign", judgement="ok", found=f"{found}: discharge is negative")
    elif change >= LAMP_A:
        mend = (
            'beside the amps in the vehicle file write positive = "discharge", or take it out; or turn the clamp round'
        )
        sign = Finding(name="sign", judgement="mend", found=f"{found}: discharge is positive", mend=mend)
    else:
        mend = (
            "the lamps' current does not pass the logger: every lead of that battery post must; or the lamps were off"
        )
        sign = Finding(name="sign", judgement="mend", found=found, mend=mend)
    return [sign, _drop(before, after, abs(change))]


def _drop(before: Block, after: Block, change_a: float) -> Finding:
    first, then = _mean(before.volts), _mean(after.volts)
    if first is None or then is None or change_a < DROP_A:
        return _no_drop(f"needs a change of {DROP_A:g} A or more")
    ohm = (first - then) / change_a
    found = f"{1000 * (first - then):.0f} mV lost to {change_a:.1f} A, {1000 * ohm:.0f} mΩ"
    if ohm <= DROP_OHM:
        return Finding(name="sense leads", judgement="ok", found=found)
    mend = "take the volts at the battery's posts themselves, by leads that carry no load; clean and tighten the clamps"
    return Finding(name="sense leads", judgement="mend", found=found, mend=mend)


def _no_drop(why: str) -> Finding:
    return Finding(name="sense leads", judgement="unknown", found=f"whether the volts are those of the posts: {why}")


def _mean(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.mean(known)) if len(known) >= 3 else None


def disk(free_bytes: int | None, spare_bytes: float, usual_s: float | None) -> Finding:
    """Whether a week of readings has room."""
    if free_bytes is None:
        return Finding(name="disk", judgement="unknown", found="the free space of the data folder cannot be told")
    need = spare_bytes + WEEK_S / (usual_s or 0.1) * ROW_BYTES
    found = f"{free_bytes / 1e9:.1f} GB free, a week needs at most {need / 1e9:.2g} GB with the reserve"
    if free_bytes >= need:
        return Finding(name="disk", judgement="ok", found=found)
    mend = "make room, or name another folder with --data"
    return Finding(name="disk", judgement="mend", found=found, mend=mend)


def clock(unset_why: str | None, stamped: bool, ahead_s: float | None) -> Finding:
    """This computer's clock where it gives the times, else how far the logger's own clock is ahead of it."""
    if unset_why is not None:
        mend = "set the clock, or give the computer a network with a time server"
        return Finding(name="clock", judgement="mend", found=unset_why, mend=mend)
    if stamped or ahead_s is None:
        return Finding(name="clock", judgement="ok", found="this computer gives the times, and its clock is set")
    found = f"the logger's clock is {abs(ahead_s):.0f} s {'ahead of' if ahead_s > 0 else 'behind'} this computer's"
    if abs(ahead_s) <= MOST_OFF_S:
        return Finding(name="clock", judgement="ok", found=found)
    mend = 'set the logger\'s clock, or its zone: [log] time = { zone = "Europe/Oslo" }'
    return Finding(name="clock", judgement="mend", found=found, mend=mend)
