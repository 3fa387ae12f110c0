"""What switching lamps on shows: the sign of the current, and whether the volts are taken at the battery's posts.

A step is read as in `monitor/detect/loads.py`: two quiet rows, the step's own, two quiet rows; a row is a second's
mean, or one reading of a slower logger. A load pulls the volts down whatever the current's sign, so that lamps going
off instead of on do not mislead. Method of the resistance: one-load form r = ΔV/ΔI.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.assess.fitting import Finding, by_second, ok, scatter, to_mend, unknown
from monitor.assess.ratings import capacity_of
from monitor.assess.resistance import cold_factor, new_mohm
from monitor.base.samples import Block, Floats
from monitor.base.vehicle import Battery

ROWS = 5  # two quiet, the step, two quiet
LAMP_A = 0.3  # what any lamp draws at least, LED parking lamps too; our choice
NOISE_TIMES = 5.0  # the largest of some hundred differences of noise alone is below; our choice
DROP_A = 2.0  # 10 mV on 5 mΩ, a step of a logger that is fine enough; our choice
FAR = 4.0  # our choice: worn ones have twice their new resistance, half more over two seconds; joints add a little
LEAST_MOHM = 12.0  # whatever the battery: joints and leads of sound vehicles have a few; our choice
STILL = 0.2  # of a new battery's resistance: less is no battery's answer; our choice


@dataclass(frozen=True, slots=True)
class Step:
    """A load switched: changes of current and volts, and what noise and resolution leave uncertain of each."""

    amps: float
    volts: float
    doubt_v: float
    celsius: float | None


def step(block: Block) -> Step | None:
    """The largest step of the current, once it stands out of the noise and the row after it makes none larger."""
    if block.amps is None:
        return None
    known = np.isfinite(block.amps) & np.isfinite(block.volts)
    amps, volts = (by_second(block.t_us[known], part[known]) for part in (block.amps, block.volts))
    if len(amps) < ROWS:
        return None
    change_a, change_v = _changes(amps), _changes(volts)
    at = int(np.argmax(np.abs(change_a)))
    if at == len(change_a) - 1 or abs(change_a[at]) < max(LAMP_A, NOISE_TIMES * (scatter(amps).spread or 0.0)):
        return None
    fine = scatter(block.volts)
    # each mean of two rows is known to one spread of a row, and to half a step of the logger
    doubt = 2 * (scatter(volts).spread or 0.0) + (fine.step or 0.0)
    celsius = np.empty(0) if block.celsius is None else block.celsius[np.isfinite(block.celsius)]
    return Step(float(change_a[at]), float(change_v[at]), doubt, float(np.median(celsius)) if len(celsius) else None)


def lamps(seen: Step | None, battery: Battery, waited_s: float) -> list[Finding]:
    """Sign and sense leads, from the step that somebody made."""
    if seen is None:
        found = f"no step of {LAMP_A:g} A or more within {waited_s:.0f} s of the lamps"
        mend = "were they on? Then their current passes the logger by: every lead of that post must go through it"
        return [to_mend("sign", found, mend), no_drop("no step seen")]
    return [_sign(seen), _drop(seen, battery)]


def no_drop(why: str) -> Finding:
    """Sense leads were not looked at."""
    return unknown("sense leads", f"{why}, so whether the volts are those of the posts is open")


def _sign(seen: Step) -> Finding:
    told = abs(seen.volts) > seen.doubt_v
    found = f"{seen.amps:+.2f} A" + (f" and {1000 * seen.volts:+.0f} mV" if told else "") + " as a load was switched"
    found = found.replace("-", "−")
    outward = seen.amps * seen.volts > 0 if told else seen.amps < 0
    if outward:
        return ok("sign", f"{found}: discharge is negative, as it should be")
    mend = (
        'turn the clamp or the shunt\'s sense leads round; or write positive = "discharge" beside the amps in the '
        "vehicle file ([log], or the instrument's or broker's table), and where it stands already, take it out"
    )
    return to_mend("sign", f"{found}: the current is reversed", mend)


def _drop(seen: Step, battery: Battery) -> Finding:
    change_a = abs(seen.amps)
    if change_a < DROP_A:
        return no_drop(f"a step of {DROP_A:g} A is needed and this one had {change_a:.1f} A")
    size = capacity_of(battery)
    new = new_mohm(battery, size.ah if size.is_known else size.low_ah) * cold_factor(seen.celsius)
    most = max(FAR * new, LEAST_MOHM)
    mohm, doubt = 1000 * abs(seen.volts) / change_a, 1000 * seen.doubt_v / change_a
    found = (
        f"{1000 * abs(seen.volts):.0f} mV for {change_a:.1f} A are {mohm:.1f} mΩ; up to {most:.0f} are the battery's"
    )
    if mohm - doubt > most:
        small = "" if size.is_known else "; where the battery is small, say [battery] capacity"
        mend = "take the volts at the posts, by leads that carry no load; clean and tighten the clamps" + small
        return to_mend("sense leads", found, mend)
    if mohm + doubt < STILL * new:
        return to_mend(
            "sense leads",
            f"{found}, at least {STILL * new:.1f}",
            "these are not the volts of this battery: see where they are taken",
        )
    if mohm + doubt > 2 * most:
        return no_drop(f"{found}, but known to ± {doubt:.0f} mΩ only")
    return ok("sense leads", found)


def _changes(rows: Floats) -> Floats:
    """Mean of the last two less mean of the first two, of each ROWS rows in a row."""
    window = np.lib.stride_tricks.sliding_window_view(rows, ROWS)
    return np.asarray(window[:, -2:].mean(axis=1) - window[:, :2].mean(axis=1), np.float64)
