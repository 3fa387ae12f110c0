"""Are the readings what a standing vehicle can have? Volts for the battery's kind and size, current, temperature."""

from __future__ import annotations

import numpy as np

from monitor.assess.fitting import Finding, ok, scatter, to_mend, unknown
from monitor.base.samples import Floats
from monitor.base.vehicle import Battery
from monitor.detect.ocv import LIFEPO4_FLAT_V

# For 12 V, in proportion for others. Drain tests begin at 12.4 V (service manuals); the others from memory: lead is
# empty at 11.8 V, and at rest a little after a drive has 13.1 V at most.
FLAT_V, CHARGED_V, CHARGING_V = 11.8, 12.4, 13.2
# Four cells: 10 % of charge is printed at 12.0 V; a quarter at the lower end of the flat part; full ones rest up to
# 13.6 V (from memory).
FLAT_LIFEPO4_V, CHARGED_LIFEPO4_V, CHARGING_LIFEPO4_V = 12.0, LIFEPO4_FLAT_V[0], 13.7
STANDING_A = 30.0  # more than lamps, blower and rear window together; our choice
INWARD_A = 0.005  # into a battery that nothing charges; our choice: a clamp's zero after a night
COLD_C, HOT_C = -45.0, 80.0  # the coldest weather, and under a bonnet after a drive; our choice


def volts(values: Floats, battery: Battery, advice: str | None) -> Finding:
    """Whether the volts are those of a rested battery of this kind; `advice`: the setting that they ask for."""
    known = values[np.isfinite(values)]
    if not len(known):
        return to_mend(
            "volts", "none that this battery could have", advice or "check the column or channel of the volts"
        )
    scale, median = battery.nominal_v / 12.0, float(np.median(known))
    iron = battery.kind == "lifepo4"
    flat, charged, charging = (
        (FLAT_LIFEPO4_V, CHARGED_LIFEPO4_V, CHARGING_LIFEPO4_V) if iron else (FLAT_V, CHARGED_V, CHARGING_V)
    )
    found = f"{median:.2f} V at a {battery.nominal_v:g} V battery" + " (LiFePO4)" * iron
    if advice is not None:
        return to_mend("volts", found, advice)
    if median >= charging * scale:
        found += f": the engine runs or a charger is on, as no battery rests above {charging * scale:g} V"
        return to_mend("volts", found, "stop the engine, take the charger off, and check again")
    if median < flat * scale:
        mend = "compare with a meter at the posts: the battery is flat, or the volts are not taken there"
        return to_mend("volts", found, mend)
    if median < charged * scale:
        why = "it is nearly empty" if iron else "a drain test begins there (service manuals)"
        return to_mend("volts", found, f"charge to {charged * scale:g} V or more first: {why}")
    return ok("volts", found)


def current(amps: Floats, volts: Floats, battery: Battery, allowed_a: float) -> Finding:
    """Whether a vehicle that stands can draw this; `allowed_a` is what the vehicle file owns up to."""
    known = amps[np.isfinite(amps)]
    if not len(known):
        return unknown("current", "no reading of it")
    if not np.any(known):
        mend = "see whether clamp or shunt lies in the cable, is connected, and in its low range"
        return to_mend("current", "exactly 0 A all the time, which no vehicle draws", mend)
    median, spread = float(np.median(known)), scatter(known).spread or 0.0
    found = f"{abs(median):.2f} A" if abs(median) >= 1.0 else f"{1000 * abs(median):.1f} mA"
    found += " out of the battery" if median < 0 else " into the battery"
    if abs(median) > STANDING_A:
        return to_mend(
            "current", f"{found} while standing", 'check the unit, as [log] amps = { unit = "mA" }, and the shunt'
        )
    charging = CHARGING_LIFEPO4_V if battery.kind == "lifepo4" else CHARGING_V
    charged = bool(np.any(np.isfinite(volts))) and float(np.nanmedian(volts)) >= charging * battery.nominal_v / 12.0
    least = max(INWARD_A, allowed_a) + 2 * spread / np.sqrt(len(known))
    if median > least and not charged:
        return to_mend(
            "current", f"{found}, and nothing charges it", "sign or zero is wrong: switch a lamp on to see which"
        )
    return ok("current", found)


def temperature(celsius: Floats) -> Finding:
    """Whether the weather or a bonnet can be so warm."""
    known = celsius[np.isfinite(celsius)]
    mend = 'check the probe, and its unit: [log] celsius = { unit = "°F" } or "K"'
    if not len(known):
        return to_mend("temperature", "its column gives none that could be", mend)
    median = float(np.median(known))
    found = f"{median:.1f} °C".replace("-", "−")
    return ok("temperature", found) if COLD_C <= median <= HOT_C else to_mend("temperature", found, mend)
