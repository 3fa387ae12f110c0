"""What to do next, cheapest first, with the cautions that belong to it; and what the log leaves open.

Condensed from service manuals' drain, charging and crank-circuit procedures and from common practice.
"""

from __future__ import annotations

from monitor.assess.evidence import Fault
from monitor.assess.seen import Seen
from monitor.assess.why_charging import judged
from monitor.base.results import Cause

MANUAL = "The service manual of the vehicle comes first wherever its limits or steps differ from these."
TELL = (
    "The battery was replaced: make sure that the charging strategy has been told of it (battery registration); one"
    " that still reckons with the old battery charges the new one wrongly."
)
CHARGE_FIRST_V, STORE_V = 12.4, 12.55

STEPS: dict[Fault, tuple[str, ...]] = {
    "drain": (
        "Look before measuring: bonnet, boot and glove-box lamps, anything plugged in or added later; keys well away.",
        "Survey the fuses with a millivolt meter, without pulling any: opening a circuit resets and hides a guilty"
        " module. Largest mV per mΩ first; leave HV and airbag (SRS) circuits to the trade.",
        "Then take one fuse out at a time while logging and enter a mark for each; wait 30 min after refitting, because"
        " it wakes modules. Never crank or switch on more than 10 A through a meter.",
        "If no fuse explains it: unfused feeds and the alternator's B+ (a leaking diode is not found by pulling fuses)."
        " Take the battery's negative off first, and keep the radio code at hand.",
    ),
    "battery": (
        "Clean and tighten the battery's posts first: a poor joint looks like a weak battery.",
        f"Charge it fully (above {CHARGE_FIRST_V} V at rest before any test), let it rest 4 h, better 12 h, and read it"
        " again. Ventilate; no sparks; do not charge a frozen, swollen, hot or smelling battery: hand it over.",
        "Have it load-tested (half its cold-cranking amps, 15 s, 9.6 V at 21 °C) or bench-tested, and enter the figures"
        " as a mark, with the standard printed on the label.",
        "If it is replaced: same kind and size, negative off first and on last, and the charging strategy must be told"
        " of the new battery (battery registration), or the old one's charging will go on.",
    ),
    "charging": (
        "Look at the belt, its tension and the charge lamp; check B+ and ground cables for heat and corrosion.",
        "Measure at the battery at 2,000 rpm with headlamps and blower on: less than 0.5 V above the rest voltage is a"
        " fault. Keep hands and leads off belt and fan.",
        "Measure the drop along the B+ cable: no more than 0.3 V at 30 A. Above 16 V stop the engine: gassing, acid.",
        "Then alternator, regulator and, where the engine computer commands it, its wiring and battery sensor. Never"
        " disconnect the battery with the engine running.",
    ),
    "usage": (
        "Charge the battery fully with a charger that fits its kind; ventilate, no sparks.",
        "Drive longer, or put it on a maintenance charger between uses; fewer seat and screen heaters on short trips.",
        f"Log another week: the rest voltage should stay above {STORE_V} V. If it does not, doubt battery or charging.",
    ),
    "connection": (
        "Check where the logger's voltage leads sit: on the battery posts themselves, not on a cable or a clamp.",
        "Clean and tighten posts, clamps and the ground strap; negative off first, on last.",
        "Measure voltage drops while cranking: 0.5 V a side, 0.2 V on ground, 0.0 V across any one connection (TM"
        " 5-3820-256-24-4). Do not replace the battery before this.",
    ),
}
SOUND = (
    "Nothing to repair by this log. If the battery was low, think of what the log did not see: a light left on, a door"
    " not shut, weeks parked.",
    "Log again when it happens, with current and over at least one night and one drive.",
)
UNDETERMINED = (
    "Log with current (a shunt or low-current clamp) for at least one night of 6 h asleep and a few drives; do not"
    " break the feed when fitting it.",
    "Let the battery rest 4 h, better 12 h, without current, and read its voltage; charge it first below"
    f" {CHARGE_FIRST_V} V.",
)
NIGHT_S = 3 * 3600.0
RIPPLE_HZ, CRANK_HZ = 5.0, 3.0


def next_steps(cause: Cause, others: list[Fault], replaced: bool) -> list[str]:
    """What to do, cheapest first: for the cause, then the first step of each further likely one, the manual last.

    `replaced`: the battery was replaced within the log.
    """
    if cause == "sound":
        steps = list(SOUND)
    elif cause == "undetermined":
        steps = [*UNDETERMINED, *(STEPS[other][0] for other in others)]
    else:
        steps = [*STEPS[cause], *(STEPS[other][0] for other in others if other != cause)]
    if replaced:
        steps.insert(0, TELL)
    return [*steps, MANUAL]


def missing(seen: Seen) -> list[str]:
    """What the log cannot say, and why."""
    said = []
    if not seen.has_amps:
        said.append("The log has no current: drains, charge returned and resistance are unknown.")
    elif not seen.sleeps:
        said.append("No rest with an hour asleep was seen: the drain is unknown.")
    elif max(sleep.asleep_s for sleep in seen.sleeps) < NIGHT_S:
        said.append("No rest of three hours asleep was seen: modules that time out late may still have been on.")
    if not seen.result.drives:
        said.append("No drive was seen: charging and cranking are unknown.")
    elif not judged(seen):
        said.append("No drive lasted five minutes: charging voltage could not be judged.")
    if seen.result.drives and (seen.result.log.rate_hz.median or 0.0) < RIPPLE_HZ:
        said.append(f"The logger is too slow for ripple ({RIPPLE_HZ:.0f} samples a second or more).")
    if seen.starts and not any(start.sampled_hz >= CRANK_HZ for start in seen.starts):
        said.append(f"The logger is too slow for the length of a crank ({CRANK_HZ:.0f} samples a second or more).")
    if seen.has_amps and seen.result.drives and seen.times_new is None:
        said.append("No crank carries a resistance: battery and connection under load are unknown.")
    if not seen.settled:
        said.append("No rest settled (4 h, better 12 h): the state of charge is unknown.")
    if seen.times_new is not None and "celsius" not in seen.result.log.channels:
        said.append("No temperature: a cold battery shows half as much resistance again.")
    if not seen.capacity_told:
        said.append(f"Capacity not told in the vehicle file: {seen.capacity_ah:.0f} Ah assumed.")
    return said
