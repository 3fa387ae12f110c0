"""What speaks for and against the battery itself: cranking, resistance, whether it holds charge, bench figures.

Sources: crank minimum by temperature (load-test table of two makers' service manuals: 9.6 V at 21 °C to 8.5 V at
−18 °C; vehicle crank test 9.6 V); +50 % resistance = replacement (stationary practice); rest voltage that falls faster
than the counted charge explains = the battery, because a sensor in the cable does not see self-discharge.
"""

from __future__ import annotations

import re
from statistics import mean

from monitor.assess.battery import least_cranking_v
from monitor.assess.cell import CELL_V
from monitor.assess.evidence import DECISIVE, SOME, STRONG, VERY_STRONG, Observation, graded
from monitor.assess.seen import Seen, Start
from monitor.base.results import Drive, Stand

CRANK_LOW_COLD_V = 8.5  # at −18 °C: below every row of the table
FAST_HZ = 3.0  # the least rate at which a crank's length is told apart from its samples
LONG_CRANK_S = 3.0  # service manuals: longer than 3 s is long
WEAK_TIMES = 1.35  # from here on short cranks at good volts are only a small engine's. Our choice
# From here on a joint before the sensing point reads alike, and only a starter that turns slowly tells. Our choice.
WEAK_TWICE = 1.8
TELLING = 0.1  # of quick or slow: less says nothing
# Log-odds by apparent resistance over a new battery's. +50 % is the replacement point; cold makes ×1.5–2 from +25 to
# −18 °C (from memory), so a healthy one at 0 °C is near 1.4: nothing is said from 1.3 to 1.45. From 2 on a joint makes
# the volts fall alike (why_connection): only the starter tells (_turning). Our choice within these.
BY_RESISTANCE = (
    (0.9, -VERY_STRONG),
    (1.2, -STRONG),
    (1.35, -SOME),
    (1.45, SOME),
    (1.6, VERY_STRONG),
    (1.9, VERY_STRONG),
    (2.05, SOME),
    (2.3, 0.0),
    (2.8, -SOME),
)
# A battery so worn takes less charge than its vehicle gives it: a low charge proves no use. Our choice
BY_WORN = ((1.4, 0.0), (2.0, VERY_STRONG))
SEVERAL = 3  # cranks that agree count in full. Our choice
DRAWN_SHARE = 0.3  # of capacity: so much drawn could lower the volts that far. Our choice
FILLED, LOW = 0.95, 0.75  # counted up to this, and yet read below that. Our choice
FLAT_V = 11.6  # at rest for 12 h: suspect the battery (storage rule of a vehicle group)
TAIL_SHARE = 0.02  # of capacity in A: full (charging sheet)
HOUR_S = 3000.0
SMALL_SHARE = 0.1  # of capacity: more drawn in the rest itself would explain a low reading. Our choice
NORMAL_V = (13.8, 14.8)  # regulated volts of a warm system (makers' tables)
WORN_SHARE = 0.8  # of rated: worn (common practice)
HEALTH_FAILS = 0.6  # below 60 % of rated: replace (common practice; 80 % = end of warranty)


def battery_evidence(seen: Seen) -> list[Observation]:
    """Observations that bear on the battery.

    A battery fails in power or in charge, and being good at one does not answer for the other (cold-cranking amps can
    stay high while capacity fades): what is in order does not count against evidence of the other kind.
    """
    power = [*_resistance(seen), *_crank_volts(seen)]
    charge = [*_holding(seen), *_cell(seen), *_filled_yet_low(seen), *_capacity(seen), *_bench(seen)]
    if any(o.moves["battery"] >= STRONG for o in charge):
        return [*(_only_for(o) for o in power), *charge]
    if any(o.moves["battery"] >= SOME for o in power):
        return [*power, *(_only_for(o) for o in charge)]
    return [*power, *charge]


def _only_for(seen: Observation) -> Observation:
    """The observation, without weight if it speaks against the battery."""
    return seen if seen.moves["battery"] > 0 else Observation(seen.text)


def _resistance(seen: Seen) -> list[Observation]:
    ratio = seen.times_new
    if ratio is None:
        return []
    told = [start for start in seen.starts if start.mohm is not None]
    share = min(1.0, (len(told) + 1) / (SEVERAL + 1))
    weight = graded(ratio, BY_RESISTANCE)
    if ratio > WEAK_TWICE and (seen.slow or 0.0) > 0:
        weight += (seen.slow or 0.0) * (VERY_STRONG - weight)
    weight *= share * seen.sharpness if ratio > 1.3 else 1.0
    mohm = sorted(start.mohm for start in told if start.mohm is not None)[len(told) // 2]
    size = f"{seen.capacity_ah:.0f} Ah" if seen.capacity_told else f"{seen.capacity_ah:.0f} Ah (assumed)"
    text = (
        f"Cranking ({len(told)}×) shows {mohm:.1f} mΩ, {ratio:.1f} times that of a new battery of {size} (from memory)."
    )
    return [Observation(text, {"battery": weight, "usage": -share * graded(ratio, BY_WORN)})]


def _is_long(start: Start) -> bool:
    return start.duration_s is not None and start.duration_s >= LONG_CRANK_S and start.sampled_hz >= FAST_HZ


def _crank_volts(seen: Seen) -> list[Observation]:
    ratio = seen.times_new
    told = [s for s in seen.starts if s.volts_load is not None and (s.volts_before or 99.0) >= 11.9]
    if not told:
        return []
    low = min(told, key=lambda s: (s.volts_load or 99.0) - least_cranking_v(s.celsius))
    limit_v = least_cranking_v(low.celsius)
    when = "warm" if low.celsius is None else f"at {low.celsius:.0f} °C".replace("-", "−")
    assert low.volts_load is not None  # chosen by it
    if ratio is not None and ratio >= WEAK_TWICE:
        is_low = low.volts_load < limit_v
        return _turning(seen, f", down to {low.volts_load:.2f} V; limit {limit_v:.1f} V {when}" if is_low else "")
    long = [s for s in told if _is_long(s)]
    found = []
    length = f" over {low.duration_s:.1f} s" if low.duration_s is not None else ""
    if low.volts_load < limit_v:
        if _is_long(low):
            text = f"A crank{length} pulled the battery down to {low.volts_load:.2f} V; limit {limit_v:.1f} V {when}."
            found.append(Observation(text, {"battery": VERY_STRONG, "usage": -SOME}))
        elif low.volts_load < CRANK_LOW_COLD_V:
            text = (
                f"A crank{length} pulled it to {low.volts_load:.2f} V, below {CRANK_LOW_COLD_V} V, the limit at −18 °C."
            )
            found.append(Observation(text, {"battery": STRONG}))
        elif ratio is None or ratio > 1.2:
            colder = ", less when cold" if low.celsius is None else ""
            text = f"A crank{length} reads {low.volts_load:.2f} V; limit {limit_v:.1f} V {when}{colder}."
            found.append(Observation(text, {"battery": SOME, "connection": SOME / 2}))
    elif long:
        text = f"The starter turned for {max(s.duration_s or 0 for s in long):.1f} s: more than {LONG_CRANK_S:.0f} s."
        found.append(Observation(text, {"battery": SOME}))
    fast = [s for s in told if s.sampled_hz >= FAST_HZ and s.volts_load is not None]
    if fast and not long and low.volts_load >= limit_v and (ratio is None or ratio < WEAK_TIMES):
        text = f"Cranks are short and stay at {low.volts_load:.2f} V or above; limit {limit_v:.1f} V {when}."
        found.append(Observation(text, {"battery": -SOME}))
    return found


def _turning(seen: Seen, low: str) -> list[Observation]:
    """A fall that a joint could make as well, by how long the starter turns; `low`: how far below its limit."""
    slow = seen.slow
    lengths = [start.turned.length_s for start in seen.starts if start.turned is not None]
    if slow is None or abs(slow) < TELLING:
        return []
    mostly = f"The starter turns for {mean(lengths):.1f} s (mean)"
    if slow > 0:
        text = f"{mostly}{low}: it lacks current itself, for a battery that weak turns it slowly."
        weight = STRONG if low else SOME
        return [Observation(text, {"battery": slow * weight, "connection": -slow * STRONG, "usage": -slow * SOME})]
    text = (
        f"{mostly} only: a battery that weak turns it slowly, a joint before the point where volts are sensed does not."
    )
    return [Observation(text, {"battery": slow * SOME})]


def _holding(seen: Seen) -> list[Observation]:
    battery = seen.result.battery
    if battery is None or battery.holds_charge is None or seen.cell is not None:
        return []  # a cell that is gone is told as that
    if battery.holds_charge:
        return [Observation("Rest voltage and counted charge agree: the battery holds its charge.", {"battery": -SOME})]
    text = "The rest voltage falls faster than the counted charge explains: the battery loses charge inside."
    return [Observation(text, {"battery": VERY_STRONG})]


def _cell(seen: Seen) -> list[Observation]:
    step = seen.cell
    if step is None:
        return _flat_though_charged(seen)
    text = f"{step.told}: a cell of {CELL_V} V is gone."
    return [Observation(text, {"battery": DECISIVE, "drain": 0.0 if step.drawn_ah is not None else -SOME})]


def _flat_though_charged(seen: Seen) -> list[Observation]:
    """A settled rest below 11.6 V although the drives charged it."""
    if not seen.settled or not seen.result.drives:
        return []
    low = min(seen.settled, key=lambda rest: rest.ocv_v)
    before = [d for d in seen.result.drives if d.start < low.at]
    charged = [d for d in before if (d.charging.volts_median or 0.0) / seen.scale >= NORMAL_V[0]]
    if low.ocv_v >= FLAT_V or not charged or any(d.charging.faults for d in before):
        return []
    parts: list[Stand | Drive] = [*before, *seen.result.stands]
    drawn = sum(p for part in parts if (p := _out(part)) is not None)
    if seen.has_amps and drawn > DRAWN_SHARE * seen.capacity_ah:
        return []
    why = f", and {drawn:.1f} Ah net were drawn in all the log" if seen.has_amps else ""
    text = (
        f"It rests at {low.ocv_v:.2f} V (for 12 V), below {FLAT_V} V, although {len(charged)} drives charged it{why}."
    )
    weight = VERY_STRONG if seen.has_amps else STRONG if seen.fall is None else SOME  # a drain may have emptied it
    return [Observation(text, {"battery": weight, "usage": -STRONG})]


def _out(part: Stand | Drive) -> float | None:
    return None if part.charge_out_ah is None else part.charge_out_ah - (part.charge_in_ah or 0.0)


def _filled_yet_low(seen: Seen) -> list[Observation]:
    """A drive at normal volts that should have filled the battery, and a settled rest behind it that reads low."""
    for drive, length_s in zip(seen.result.drives, seen.drive_s, strict=True):
        volts = drive.charging.volts_median
        if volts is None or not NORMAL_V[0] <= volts / seen.scale <= NORMAL_V[1] or drive.charging.faults:
            continue
        ended = drive.end if drive.end is not None else drive.start
        rest = next((stand for stand in seen.result.stands if stand.start >= ended), None)
        after = None if rest is None else next((s for s in seen.settled if s.at >= rest.start), None)
        if rest is None or after is None or rest.end is None or after.at != rest.end:
            continue
        if after.high > LOW or length_s < HOUR_S or (_out(rest) or 0.0) > SMALL_SHARE * seen.capacity_ah:
            continue
        before = [s for s in seen.settled if s.at <= drive.start]
        returned = _out(drive)
        tail = drive.charging.tail_amps
        full = tail is not None and 0 <= tail <= TAIL_SHARE * seen.capacity_ah
        if before and returned is not None:
            full = full or before[-1].high - returned / seen.capacity_ah >= max(FILLED, after.high + 0.2)
        if full:
            text = (
                f"A drive of {length_s / 60:.0f} min at {volts:.1f} V returned what should have filled the battery, yet"
                f" it then rests at {after.ocv_v:.2f} V (for 12 V), {after.charge * 100:.0f} % by the table."
            )
            return [Observation(text, {"battery": VERY_STRONG, "charging": -STRONG, "usage": -STRONG})]
    return []


def _capacity(seen: Seen) -> list[Observation]:
    """The estimated capacity against the rated one, by the favourable end of its interval."""
    battery = seen.result.battery
    if battery is None or battery.capacity_ah is None or battery.capacity_ah.high is None or not seen.capacity_told:
        return []
    share = battery.capacity_ah.high / seen.capacity_ah
    if share >= WORN_SHARE:
        return []
    text = (
        f"It has {battery.capacity_ah.value:.0f} Ah, no more than {battery.capacity_ah.high:.0f} Ah, of the"
        f" {seen.capacity_ah:.0f} Ah it should have ({battery.capacity_ah.basis})."
    )
    return [Observation(text, {"battery": VERY_STRONG if share < HEALTH_FAILS else SOME})]


def _bench(seen: Seen) -> list[Observation]:
    """Bench-test figures entered as a mark: amps measured of amps rated, state of health; as the tester gave them."""
    found = []
    for mark in seen.result.marks:
        shares: list[float] = []
        amps = re.search(r"(\d{2,4})\s*A?\s*(?:measured\s*)?(?:of|/)\s*(\d{2,4})\s*A", mark.text)
        health = re.search(r"(?:health|SOH)\D{0,12}(\d{1,3})\s*%|(\d{1,3})\s*%\s*(?:state of )?health", mark.text, re.I)
        if "bench" not in mark.kind.lower() and "bench" not in mark.text.lower():
            continue
        if amps and float(amps[2]):
            shares.append(float(amps[1]) / float(amps[2]))
        if health:
            shares.append(float(health[1] or health[2]) / 100)
        if not shares:
            continue
        least = min(shares)
        weight = VERY_STRONG if least < HEALTH_FAILS else SOME if least < WORN_SHARE else -STRONG
        found.append(
            Observation(f"Bench test: {mark.text} ({least * 100:.0f} % of what it should be).", {"battery": weight})
        )
    return found
