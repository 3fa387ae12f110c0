"""Millivolts across blade fuses turned into milliamperes, held against the measured sleep current.

A fuse is a small resistor: I = U / R with its cold resistance, since a sleep current does not warm it. The part may be
15 % off, the meter half its last digit, and a warm fuse reads high by 0.39 %/K. A fuse fed through another measured one
is not added twice. What the fuses do not explain flows past them: alternator B+ and unfused feeds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pydantic import Field

from monitor.base.fields import Amps, Number, Part

DATA_SHEET = "data sheet of a maker of miniature blade fuses, 32 V (ISO 8820-3 type F)"
FROM_MEMORY = "data sheet of regular blade fuses, 32 V (ISO 8820-3 type C), from memory"
MEASURED_TOO = FROM_MEMORY + "; measured by a workshop within 7 %"
CHART_TOO = FROM_MEMORY + "; printed by a trade chart, 130 mA for 1 mV"

# cold resistance in milliohm by family and rating in ampere, with its source
RESISTANCES: dict[str, dict[float, tuple[float, str]]] = {
    "mini": {
        rating: (resistance, DATA_SHEET)
        for rating, resistance in {
            2: 55.60, 3: 33.75, 4: 23.48, 5: 17.75, 7.5: 10.85, 10: 7.42, 15: 4.58, 20: 3.21, 25: 2.36, 30: 1.85,
        }.items()
    },
    "regular": {
        2: (53.5, FROM_MEMORY),
        3: (31.1, FROM_MEMORY),
        4: (22.8, FROM_MEMORY),
        5: (17.85, FROM_MEMORY),
        7.5: (10.91, FROM_MEMORY),
        10: (7.70, CHART_TOO),
        15: (4.80, MEASURED_TOO),
        20: (3.38, FROM_MEMORY),
        25: (2.52, FROM_MEMORY),
        30: (1.97, FROM_MEMORY),
    },
}  # fmt: skip
# families that exist; no published resistance was found for them
UNPUBLISHED = ("maxi", "low-profile mini", "micro2", "micro3", "j-case", "m-case", "other")
ALIASES = {"ato": "regular", "atc": "regular", "standard": "regular", "medium": "regular", "type c": "regular"} | {
    "miniature": "mini", "type f": "mini", "type e": "maxi", "lp-mini": "low-profile mini", "jcase": "j-case",
}  # fmt: skip

PART_SHARE = 0.15  # how far a fuse's resistance may be off: no data sheet says; from memory
ENTERED_SHARE = 0.05  # the same where the user measured it: our choice, contacts and meter of a four-wire reading
PER_KELVIN = 0.0039  # rise of resistance, as of zinc and copper; from memory
COLD_CELSIUS = 20.0  # temperature of the cold resistance; from memory
# an unexplained rest from here on is looked for at the alternator's B+ and in unfused feeds: common practice
REST_A = 0.030
AGREE_SHARE = 0.20  # fuses agree with the plateau within this: common practice
WARM_SHARE = 0.20  # our choice: above this share of its rating a fuse is no longer cold

Agreement = Literal["explained", "rest", "rest_within_error", "small_rest", "too_much", "not_compared"]


@dataclass(frozen=True, slots=True)
class Measured:
    """One line of a survey.

    millivolts        across the fuse, without sign; `digit_mv` is the step of the last digit written
    resistance_mohm   entered by the user, at 20 °C; None: from the table
    feeds             the fuse upstream, through which this one is fed; None: fed by itself
    """

    fuse: str
    family: str
    rating_a: float
    millivolts: float
    digit_mv: float = 0.01
    resistance_mohm: float | None = None
    feeds: str | None = None
    note: str = ""


class FuseReading(Part):
    """One fuse: its current with the worst the part and the meter can do; `added` False: inside another one's."""

    fuse: str
    note: str
    family: str
    rating_a: Amps
    millivolts: Number
    resistance_mohm: Number
    source: str
    amps: Amps
    low_a: Amps
    high_a: Amps
    feeds: str | None = None
    added: bool = True
    warnings: list[str] = Field(default_factory=list)


class FuseSurvey(Part):
    """All fuses, the largest first, and their sum against the plateau. Drain figures, positive."""

    celsius: Number | None = None
    readings: list[FuseReading]
    sum_a: Amps
    sum_low_a: Amps
    sum_high_a: Amps
    plateau_a: Amps | None = None
    rest_a: Amps | None = None
    rest_low_a: Amps | None = None
    rest_high_a: Amps | None = None
    agreement: Agreement = "not_compared"
    warnings: list[str] = Field(default_factory=list)
    next: list[str] = Field(default_factory=list)


def family_of(text: str) -> str | None:
    """The family a person means; None: no such word.

    >>> family_of("ATO"), family_of("Mini"), family_of("glass")
    ('regular', 'mini', None)
    """
    name = " ".join(text.lower().split())
    name = ALIASES.get(name, name)
    return name if name in RESISTANCES or name in UNPUBLISHED else None


def cold_resistance(family: str, rating_a: float) -> tuple[float, str] | None:
    """Milliohm and source; None where nothing is published.

    >>> cold_resistance("regular", 10)[0], cold_resistance("maxi", 30)
    (7.7, None)
    """
    return RESISTANCES.get(family, {}).get(rating_a)


def reading(measured: Measured, celsius: float | None = None) -> FuseReading:
    """Current through one fuse at `celsius` (None: taken as 20 °C). Its resistance must be known or entered.

    >>> round(reading(Measured("F1", "regular", 10, 1.0)).amps, 4)
    0.1299
    """
    known = cold_resistance(measured.family, measured.rating_a)
    if measured.resistance_mohm is not None:
        resistance, source, share = measured.resistance_mohm, "entered", ENTERED_SHARE
    elif known is not None:
        (resistance, source), share = known, PART_SHARE
    else:
        raise ValueError(f"no published resistance for {measured.family} {measured.rating_a:g} A")
    if celsius is not None:
        resistance *= 1 + PER_KELVIN * (celsius - COLD_CELSIUS)
    half = measured.digit_mv / 2
    amps = measured.millivolts / resistance
    return FuseReading(
        fuse=measured.fuse,
        note=measured.note,
        family=measured.family,
        rating_a=measured.rating_a,
        millivolts=measured.millivolts,
        resistance_mohm=resistance,
        source=source,
        amps=amps,
        low_a=max(measured.millivolts - half, 0.0) / (resistance * (1 + share)),
        high_a=(measured.millivolts + half) / (resistance * (1 - share)),
        feeds=measured.feeds,
        warnings=_warnings(measured, amps, measured.digit_mv / resistance),
    )


def _warnings(measured: Measured, amps: float, step_a: float) -> list[str]:
    told = []
    if amps > measured.rating_a:
        told.append("more than the fuse can carry: are these millivolts?")
    elif amps > WARM_SHARE * measured.rating_a:
        told.append("no sleep current, and it warms the fuse: the true current is lower. Was everything asleep?")
    if step_a >= REST_A:
        told.append(f"the meter's last digit is {step_a * 1000:.0f} mA here: read it to 0.01 mV")
    return told


def survey(lines: Sequence[Measured], plateau_a: float | None = None, celsius: float | None = None) -> FuseSurvey:
    """Sum and compare all fuses; `plateau_a` is the measured sleep current, positive."""
    readings = {line.fuse: reading(line, celsius) for line in lines}
    inside: dict[str, list[str]] = {}
    for one in readings.values():
        one.added = one.feeds not in readings
        if one.feeds is not None:
            inside.setdefault(one.feeds, []).append(one.fuse)
    warnings = [_fed_through(above, behind, above in readings) for above, behind in inside.items()]
    warnings += _contradictions(readings)
    added = [one for one in readings.values() if one.added]
    total = sum(one.amps for one in added)
    # parts err independently: their errors are added as squares, not one on the other
    low = total - math.sqrt(sum((one.amps - one.low_a) ** 2 for one in added))
    high = total + math.sqrt(sum((one.high_a - one.amps) ** 2 for one in added))
    found = FuseSurvey(
        celsius=celsius,
        readings=sorted(readings.values(), key=lambda one: -one.amps),
        sum_a=total,
        sum_low_a=low,
        sum_high_a=high,
        warnings=warnings,
    )
    if plateau_a is not None:
        _compare(found, plateau_a)
    found.next = _next(found)
    return found


def _fed_through(above: str, behind: list[str], measured: bool) -> str:
    names = " and ".join([", ".join(behind[:-1]), behind[-1]] if len(behind) > 1 else behind)
    if not measured:
        return f"{above}, which feeds {names}, was not measured: what else it feeds is missing"
    return f"{names} lie behind {above}: their current is already in its own and is not added again"


def _contradictions(readings: dict[str, FuseReading]) -> list[str]:
    """Fuses that carry less than those behind them, beyond the error bars."""
    told = []
    for above in readings.values():
        behind = [one for one in readings.values() if one.feeds == above.fuse]
        if behind and sum(one.low_a for one in behind) > above.high_a:
            names = ", ".join(one.fuse for one in behind)
            told.append(f"{above.fuse} carries less than {names} behind it: measure again, or mend the column feeds")
    return told


def _compare(found: FuseSurvey, plateau_a: float) -> None:
    found.plateau_a = plateau_a
    found.rest_a = plateau_a - found.sum_a
    found.rest_low_a, found.rest_high_a = plateau_a - found.sum_high_a, plateau_a - found.sum_low_a
    if found.rest_a >= REST_A:
        found.agreement = "rest" if found.rest_low_a > 0 else "rest_within_error"
    elif found.rest_high_a < 0 and -found.rest_a > AGREE_SHARE * plateau_a:
        found.agreement = "too_much"
    elif found.rest_low_a > 0 and found.rest_a > AGREE_SHARE * plateau_a:
        found.agreement = "small_rest"
    else:
        found.agreement = "explained"


NEXT: dict[Agreement, list[str]] = {
    "rest": [
        "Clamp or shunt the alternator's B+ cable, then the feeds without a fuse (starter, glow plugs, aftermarket"
        " kit at the battery); take B+ off only with the battery's negative off, then let the vehicle fall asleep.",
    ],
    "rest_within_error": [
        "Measure again to 0.01 mV, both ways round, and average: the rest is within the fuses' error."
    ],
    "too_much": [
        "Look for a fuse that is fed through another one, and measure again once everything is asleep: the fuses carry"
        " more than the plateau.",
    ],
    "small_rest": [],
    "explained": [],
    "not_compared": ["Give the measured sleep current with --plateau: only then can a rest outside the fuses be seen."],
}


def _next(found: FuseSurvey) -> list[str]:
    told = list(NEXT[found.agreement])
    largest = found.readings[0].amps if found.readings else 0.0
    if largest > 0 and found.agreement != "too_much":
        first = f"Look at what {_deepest(found)} feeds: unplug its consumers one by one and read again."
        told.insert(0 if largest >= (found.rest_a or 0.0) else len(told), first)
    return told


def _deepest(found: FuseSurvey) -> str:
    """The fuse with most current, or the one behind it that carries the most of it."""
    name = found.readings[0].fuse
    while behind := [one for one in found.readings if one.feeds == name and one.amps >= found.readings[0].amps / 2]:
        name = behind[0].fuse
    return name
