"""What speaks for and against a bad connection: volts that fall with the current and come back without it.

A joint in the path to where the volts are sensed adds its resistance to every crank: far more than a battery could have
and still crank. TM 5-3820-256-24-4 allows 0.0 V at each connection and 0.5 V for a whole side while cranking.
"""

from __future__ import annotations

from monitor.assess.evidence import DECISIVE, SOME, VERY_STRONG, Observation, graded
from monitor.assess.resistance import NEW_MOHM
from monitor.assess.seen import Seen

# Log-odds by apparent resistance over a new battery's. A battery at its replacement point (×1.5) and cold (×1.5) is at
# 2.25, and is then hardly able to crank. Our choice: nothing at that, certain at three times.
BY_RESISTANCE = (
    (1.3, -VERY_STRONG),
    (1.8, -SOME),
    (2.2, 0.0),
    (2.4, SOME),
    (2.55, VERY_STRONG),
    (3.0, 1.2 * DECISIVE),
)
SEVERAL = 3
WORN_TIMES = 1.45  # where why_battery begins to doubt the battery
ALIKE_SHARE = 0.3  # mΩ that differ by less: the volts fell in proportion to the current. Our choice: cold and charge
RESTS_WELL = 0.6  # state of charge at rest: without current nothing is missing. Our choice
# Of the weight, by how slowly the starter turns; at 0 nothing is told: a weak battery reads alike. Our choice.
BY_SLOWNESS = ((-1.0, 1.0), (0.0, 0.4), (1.0, 0.0))


def connection_evidence(seen: Seen) -> list[Observation]:
    """Observations that bear on a connection."""
    ratio = seen.times_new
    if ratio is None:
        return []
    told = [start for start in seen.starts if start.times_new is not None]
    share = min(1.0, (len(told) + 1) / (SEVERAL + 1))
    weight = graded(ratio, BY_RESISTANCE)
    weight *= share if weight > 0 and ratio < 2.6 else 1.0
    slow = seen.slow
    if weight > 0:
        weight *= seen.sharpness * graded(slow or 0.0, BY_SLOWNESS)
    mohm = sorted(start.mohm for start in told if start.mohm is not None)[len(told) // 2]
    least = min(start.volts_min for start in told if start.volts_min is not None)
    if weight <= 0:
        fits = "a battery in order" if ratio < WORN_TIMES else "a weak battery"
        text = f"The volts fall under load as {fits} makes them ({mohm:.1f} mΩ): no joint stands out."
        return [Observation(text, {"connection": weight})]
    joint = mohm - mohm / ratio
    ohms = sorted(start.mohm for start in told if start.mohm is not None)
    alike = len(ohms) > 1 and ohms[-1] - ohms[0] <= ALIKE_SHARE * mohm
    how = "in proportion to the current each time, " if alike else ""
    text = (
        f"In {len(told)} cranks the volts fell {how}down to {least:.2f} V (for 12 V): {mohm:.1f} mΩ, {ratio:.1f} times"
        f" a new battery (about {NEW_MOHM:.0f} mΩ for 65 Ah at 25 °C). A battery that bad would turn the starter"
        f" slowly; some {joint:.0f} mΩ lie in a joint or cable before the point where volts are sensed."
    )
    found = [Observation(text, {"connection": weight})]
    quick = slow is not None and slow < 0  # a weak battery rests well, too
    if quick and weight > SOME and seen.settled and min(s.charge for s in seen.settled) >= RESTS_WELL:
        ocv = min(s.ocv_v for s in seen.settled)
        text = f"Without current the drop is gone: it rests at {ocv:.2f} V (for 12 V) or more."
        found.append(Observation(text, {"connection": SOME}))
    lengths = [start.turned.length_s for start in seen.starts if start.turned is not None and start.turned.exact]
    if weight > SOME and lengths and slow == -1.0:
        text = f"The starter needed no more than {max(lengths):.1f} s: it got its current."
        found.append(Observation(text, {"connection": SOME, "battery": -SOME}))
    return found
