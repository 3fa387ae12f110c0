"""What speaks for and against the way the vehicle is used: too many short trips to return what nights and starts take.

Charge factor (Ah in over Ah out) 1.05–1.2 is needed over a week (makers' recommendations), with drain, charging and
battery in order: usage is what is left, so their evidence counts against it (each says so where it stands).
"""

from __future__ import annotations

from statistics import median

from monitor.assess.evidence import SOME, STRONG, VERY_STRONG, Observation, graded
from monitor.assess.seen import Seen
from monitor.base.results import Drive, Stand

# Trips: an alternator needs some time to return even one start and one night. Our choice: below 10 min short, from a
# quarter of an hour on not.
BY_TRIP_MIN = ((4.0, VERY_STRONG), (8.0, STRONG), (11.0, 0.0), (15.0, -STRONG), (30.0, -VERY_STRONG))
# and so much driving a day is no short-trip use, however it is cut up. Our choice
BY_MIN_A_DAY = ((30.0, VERY_STRONG), (45.0, 0.0), (70.0, -STRONG))
# State of charge at rest: below 70 % is low, about 80 % is where managed systems hold it (service information).
BY_CHARGE = ((0.50, STRONG), (0.70, STRONG), (0.78, 0.0), (0.85, -STRONG))
FEW_DRIVES, FEW_DAYS = 3, 0.9  # a habit shows in no fewer. Our choice
WEEK_DAYS = 7.0
CHARGED_V = 13.0  # a drive's highest volts: below it nothing charges (managed systems go higher now and then)
FACTOR_NEEDED = 1.05


def usage_evidence(seen: Seen) -> list[Observation]:
    """Observations that bear on usage."""
    found = []
    trips = [length / 60 for length in seen.drive_s]
    if trips:
        middle = median(trips)
        a_day = sum(trips) / max(seen.days, 0.5)
        weight = min(graded(middle, BY_TRIP_MIN), graded(a_day, BY_MIN_A_DAY))
        if len(trips) < FEW_DRIVES or seen.days < FEW_DAYS:
            weight = min(weight, 0.0)
        many = f"{len(trips)} drives, half of them shorter than" if len(trips) > 1 else "One drive, of"
        text = f"{many} {middle:.0f} min; {a_day:.0f} min of driving a day."
        found.append(Observation(text, {"usage": weight}))
    volts = [d.charging.volts_p95 / seen.scale for d in seen.result.drives if d.charging.volts_p95 is not None]
    if not volts or median(volts) < CHARGED_V:
        found.append(Observation("That charging works was not seen in these drives.", {"usage": -VERY_STRONG}))
    if not seen.has_amps:
        text = "Without current a drain may just as well be what takes the charge."
        found.append(Observation(text, {"usage": -STRONG}))
    if seen.settled:
        charge = median(s.charge for s in seen.settled)
        weight = graded(charge, BY_CHARGE)
        ocv = median(s.ocv_v for s in seen.settled)
        text = (
            f"At rest the battery is {charge * 100:.0f} % charged (median; {ocv:.2f} V for 12 V, ±10 % by any table)."
        )
        found.append(Observation(text, {"usage": weight}))
    factor = charge_factor(seen)
    if factor is not None and seen.days >= WEEK_DAYS - 0.1:
        into, out = _totals(seen)
        weight = SOME if factor < FACTOR_NEEDED else -SOME / 2
        text = f"In {seen.days:.0f} days {into:.1f} Ah in, {out:.1f} Ah out: charge factor {factor:.2f}, 1.05 needed."
        found.append(Observation(text, {"usage": weight}))
    return found


def charge_factor(seen: Seen) -> float | None:
    """Ah in over Ah out of the whole log; None without current or without anything drawn."""
    into, out = _totals(seen)
    return into / out if seen.has_amps and out > 0 else None


def _totals(seen: Seen) -> tuple[float, float]:
    parts: list[Stand | Drive] = [*seen.result.stands, *seen.result.drives]
    return sum(p.charge_in_ah or 0.0 for p in parts), sum(p.charge_out_ah or 0.0 for p in parts)
