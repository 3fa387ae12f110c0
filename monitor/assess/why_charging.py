"""What speaks for and against the charging system: the faults of its drives, and how many drives were in order.

Engine-managed systems cut back to battery voltage and hold about 80 % charge on purpose (service information); the
detectors have set that apart already, and nothing here takes it for a fault.
"""

from __future__ import annotations

from collections import Counter

from monitor.assess.evidence import DECISIVE, SOME, STRONG, VERY_STRONG, Observation
from monitor.assess.seen import Seen
from monitor.base.results import ChargingFault, Drive

# Log-odds of one drive with it. Our choice: what is measured minutes on end is very strong, no charge is decisive.
WEIGHTS: dict[ChargingFault, float] = {
    "no_charge": DECISIVE,
    "overvoltage": DECISIVE,
    "undervoltage": VERY_STRONG,
    "unstable": VERY_STRONG,
    "ripple": VERY_STRONG,
    "late": VERY_STRONG,
}
WORDS: dict[ChargingFault, str] = {
    "no_charge": "no charge",
    "overvoltage": "overvoltage",
    "undervoltage": "undervoltage",
    "unstable": "unstable regulation",
    "ripple": "ripple (rectifier)",
    "late": "charging that begins late",
}
JUDGED_S = 300.0  # five minutes of running engine: less says nothing about regulation (the detector's own least)
RARE = 0.15  # a fault in fewer drives than this may be an accident of the log: told, but of little weight. Our choice
# Volts that swing with the load through a bad joint look unstable in some drives; a regulator that hunts does in all.
OFTEN = 0.5  # our choice
WEAK_V, WEAK_S = 13.2, 480.0  # a system that never leaves this in minutes does not charge (sulfating risk, published)


def judged(seen: Seen) -> list[tuple[Drive, float]]:
    """The drives long enough to judge charging by, with their lengths in s."""
    return [(d, s) for d, s in zip(seen.result.drives, seen.drive_s, strict=True) if s >= JUDGED_S]


def charging_evidence(seen: Seen) -> list[Observation]:
    """Observations that bear on charging."""
    counts = Counter(fault for drive in seen.result.drives for fault in _faults(seen, drive))
    drives = judged(seen)
    total = max(len(seen.result.drives), 1)
    found = []
    for fault, count in sorted(counts.items(), key=lambda item: -WEIGHTS[item[0]]):
        weight = WEIGHTS[fault]
        share = count / total
        if share < RARE or (fault == "unstable" and share < OFTEN):
            weight = SOME / 2
        elif fault == "unstable" and count < 2:
            weight /= 2
        elif count >= 2:
            weight += SOME
        if fault in ("unstable", "late") and not seen.has_amps:
            weight /= 2  # without the current it cannot be told from volts that a joint lets swing or sag with it
        text = f"Charging: {WORDS[fault]} in {count} of {total} drives{_figures(seen, fault)}."
        found.append(Observation(text, {"charging": weight, "usage": -weight, "drain": 0.0}))
    if found:
        return found
    if drives:
        volts = sorted((d.charging.volts_median or 0.0) / seen.scale for d, _ in drives)
        middle = volts[len(volts) // 2]
        against = min(len(drives), 3) * SOME + (STRONG if len(drives) > 3 else 0.0)
        managed = any(d.charging.regulation == "managed" for d, _ in drives)
        kind = "; the engine computer commands it, which is no fault" if managed else ""
        many = f"all {len(drives)} drives" if len(drives) > 1 else "the one drive"
        text = f"Charging was in order in {many} of five minutes or more: median {middle:.1f} V (for 12 V){kind}."
        return [Observation(text, {"charging": -against})]
    return []


def _faults(seen: Seen, drive: Drive) -> list[ChargingFault]:
    """Those of a drive. One that stays low may be short on charge mode where others show an engine-managed system."""
    charging = drive.charging
    found = list(charging.faults)
    high, seconds = charging.volts_p95, _seconds(seen, drive)
    managed = any(other.charging.regulation == "managed" for other in seen.result.drives)
    weak = high is not None and high / seen.scale < WEAK_V and seconds >= WEAK_S and not managed
    if weak and not found and (drive.charge_in_ah is None or _net(drive) <= 0):
        found.append("undervoltage")
    return found


def _net(drive: Drive) -> float:
    return (drive.charge_in_ah or 0.0) - (drive.charge_out_ah or 0.0)


def _seconds(seen: Seen, drive: Drive) -> float:
    return next(s for d, s in zip(seen.result.drives, seen.drive_s, strict=True) if d is drive)


def _figures(seen: Seen, fault: ChargingFault) -> str:
    """The number that shows the fault, from the worst drive."""
    drives = [d for d in seen.result.drives if fault in _faults(seen, d)]
    if fault == "late":
        delays = [d.charging.delay_s for d in drives if d.charging.delay_s is not None]
        return f", up to {max(delays):.0f} s after the start" if delays else ""
    if fault == "ripple":
        ripples = [d.charging.ripple_mv for d in drives if d.charging.ripple_mv is not None]
        return f", {max(ripples):.0f} mV peak to peak" if ripples else ""
    if fault == "overvoltage":
        tops = [d.charging.volts_p95 for d in drives if d.charging.volts_p95 is not None]
        return f", {max(tops):.1f} V at the 95th percentile" if tops else ""
    middles = [d.charging.volts_median for d in drives if d.charging.volts_median is not None]
    return f", median {min(middles):.1f} V" if middles else ""
