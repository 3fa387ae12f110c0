"""Apparent resistance of battery and joints, from cranks and load steps at like charge and temperature, and its trend.

A resistance is compared only with its like: it rises as the battery empties and cools. Where the log has no temperature
that is said. No cold-cranking figure is made of it: no standard gives a formula.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median

from monitor.base.results import Resistance, Result
from monitor.base.vehicle import Battery

ALIKE_V = 0.15  # from rest volts this near their median: at like charge (20 %, BCI slope); our choice
ALIKE_K = 8.0  # from temperatures this near their median: 11 % in resistance; our choice
TREND_LEAST, TREND_DAYS = 5, 3.0  # the fewest that show a trend; our choice
TREND_SHARE = 0.15  # a smaller change decides nothing (+25 % is 80 % of the performance), and spares the import
COLD_PER_K = math.log(1.75) / 43.0  # ×1.5 to 2 from +25 to −18 °C (from memory)
REFERENCE_C = 25.0
UNKNOWN_C = 9.0  # taken where the temperature is not known: between a warm garage and frost; our choice

MIDDLE_AH = 65.0  # a middle-sized car's battery
# EN 50342-1: 7.5 V after 10 s of the rated current at −18 °C. 65 Ah are rated some 600 A (from memory), which makes
# (12.6 − 7.5) V / 600 A = 8.5 mΩ at −18 °C and 4.9 mΩ at 25 °C; within the 3–6 mΩ AC and 6–10 mΩ DC told of new ones.
NEW_MOHM = 4.9
KIND_SHARE = {
    "flooded": 1.0,
    "efb": 0.9,
    "agm": 0.55,
    "gel": 1.2,
    "lifepo4": 0.6,
}  # large AGM 2–3 mΩ; others our choice
UNKNOWN_SHARE = 0.8  # kind not known: between AGM and flooded
FULL_V = 12.6
RATED_TO_V = {"SAE": 7.2, "EN": 7.5, "DIN": 9.0}  # volts at the end of the cold-cranking test, −18 °C


@dataclass(frozen=True, slots=True)
class Reading:
    """One resistance: when, mΩ, and the volts and temperature it was read at (None: unknown)."""

    at: int
    mohm: float
    volts: float
    celsius: float | None


def cold_factor(celsius: float | None) -> float:
    """How many times its resistance at 25 °C a battery has; None: at UNKNOWN_C.

    >>> round(cold_factor(-18.0), 2), cold_factor(25.0), round(cold_factor(None), 2)
    (1.75, 1.0, 1.23)
    """
    return math.exp(COLD_PER_K * (REFERENCE_C - min(max(UNKNOWN_C if celsius is None else celsius, -40.0), 60.0)))


def new_mohm(battery: Battery, capacity_ah: float) -> float:
    """Apparent resistance, mΩ at 25 °C, of a new battery of this kind and size; of its rating, where that says less."""
    scale = battery.nominal_v / 12.0
    usual = NEW_MOHM * MIDDLE_AH / capacity_ah * scale * KIND_SHARE.get(battery.kind or "", UNKNOWN_SHARE)
    end_v = RATED_TO_V.get(battery.cranking_standard or "")
    if battery.cold_cranking_a is None or end_v is None:
        return usual
    rated = 1000.0 * scale * (FULL_V - end_v) / battery.cold_cranking_a / cold_factor(-18.0)
    return min(usual, rated)


def resistance(result: Result) -> Resistance | None:
    """Resistance, mΩ, from cranks, and where they carry none from load steps; trend in % a day."""
    cranks = [
        Reading(c.start, c.resistance_mohm, c.volts_before, c.celsius)
        for drive in result.drives
        if (c := drive.crank) is not None and c.resistance_mohm is not None and c.volts_before is not None
    ]
    steps = [
        Reading(s.at, s.resistance_mohm, s.volts_before, s.celsius) for stand in result.stands for s in stand.load_steps
    ]
    alike, alike_steps = _alike(cranks), _alike(steps)
    if not alike and not alike_steps:
        return None
    told = alike or alike_steps
    trend, words = _trend(told)
    what = f"{len(alike)} of {len(cranks)} cranks" if alike else f"{len(alike_steps)} of {len(steps)} load steps"
    also = (
        f"; {len(alike_steps)} load steps say {median(s.mohm for s in alike_steps):.1f} mΩ"
        if alike and alike_steps
        else ""
    )
    return Resistance(
        value=median(r.mohm for r in told),
        trend=trend,
        basis=f"median of {what} {_conditions(told)}, ΔV/ΔI, joints up to the sensing point included{also}{words}",
    )


def _alike(readings: list[Reading]) -> list[Reading]:
    """Those at like charge and temperature: near the median of both."""
    if not readings:
        return []
    middle = median(r.volts for r in readings)
    near = [r for r in readings if abs(r.volts - middle) <= ALIKE_V * middle / 12.5]
    known = [r for r in near if r.celsius is not None]
    if len(known) < len(near):
        return near
    warmth = median(r.celsius for r in known if r.celsius is not None) if known else 0.0
    return [r for r in known if r.celsius is not None and abs(r.celsius - warmth) <= ALIKE_K]


def _conditions(told: list[Reading]) -> str:
    low, high = min(r.volts for r in told), max(r.volts for r in told)
    volts = f"from {low:.2f} V" if high - low < 0.005 else f"from {low:.2f} to {high:.2f} V"
    celsius = [r.celsius for r in told if r.celsius is not None]
    if len(celsius) < len(told):
        return f"{volts}, temperature not known"
    return f"{volts} at {_degrees(min(celsius), max(celsius))}"


def _degrees(low: float, high: float) -> str:
    text = f"{low:.0f} °C" if round(low) == round(high) else f"{low:.0f} to {high:.0f} °C"
    return text.replace("-", "−")


def _trend(told: list[Reading]) -> tuple[float | None, str]:
    """Change of the resistance a day in % with its 95 % interval in words; None where there is none to tell."""
    ordered = sorted(told, key=lambda r: r.at)
    days = [(r.at - ordered[0].at) / 86_400e6 for r in ordered]
    ohms = [r.mohm for r in ordered]
    if len(ohms) < TREND_LEAST or days[-1] < TREND_DAYS:
        return None, "; too few for a trend"
    half = len(ohms) // 2
    if abs(median(ohms[half:]) / median(ohms[:half]) - 1.0) < TREND_SHARE:
        return None, "; no trend"
    from scipy.stats import theilslopes

    slope, _, low, high = theilslopes(ohms, days)
    if low <= 0.0 <= high:
        return None, "; no trend"
    share = 100.0 / median(ohms)
    return (
        slope * share,
        f"; trend {slope * share:+.1f} % a day (95 % interval {low * share:+.1f} to {high * share:+.1f})",
    )
