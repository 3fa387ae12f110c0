"""What the log says of the battery itself: capacity, resistance, cranking, charge acceptance, whether it holds charge.

Every figure has its interval or its reason for being absent. No cold-cranking figure is made of a resistance: no
standard gives a formula for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from monitor.assess.cell import CELL_V, cell_step, is_empty
from monitor.assess.course import between, end_of, move_of, settled_rests
from monitor.assess.ratings import Capacity
from monitor.base.results import Estimate, Result, Stand
from monitor.base.vehicle import BatteryKind
from monitor.detect.ocv import SLOPE_V_PER_FULL, read_table, tables_of

CAPACITY_CHANGE = 0.08  # a smaller change of the state of charge carries no capacity; our choice
CAPACITY_WIDTH = 4.0  # an interval wider than this, highest over lowest, is no estimate; our choice
# Minimum while cranking by temperature, °C and V: load-test table, half the cold-cranking amps for 15 s, of two makers
CRANK_LEAST = ((-18.0, 8.5), (-12.0, 8.7), (-7.0, 8.9), (-1.0, 9.1), (4.0, 9.3), (10.0, 9.4), (16.0, 9.5), (21.0, 9.6))
DECAY_DOUBT_MV_PER_H = 1.0  # a decay is reported when its half width is below this or half of itself (rest voltage)
HOLDS_H = 8.0  # our choice: a shorter rest tells a loss too poorly from relaxation
ALONE_A_DAY = 0.10  # one rest alone tells a loss from here on: of many, one is outside its doubt by chance; our choice
EMPTIES = 0.05  # of the capacity: so much drawn takes an empty battery down; our choice
WORN_TIMES = 2.0  # a battery worn to half its capacity falls twice as fast for the same charge; that is no loss
LEAST_TOLD_A_DAY = 0.01  # warming lifts the voltage too: no smaller loss is ruled out; our choice
GROSS_A_DAY = 0.05  # what a night can rule out: sound ones lose 0.1–0.7 % a day, a shorted cell tens; our choice
FULL_TAIL, FULL_V = 0.01, 14.1  # tail of a full starter battery: 0.5–1 % of C20 at 14.4 V (from memory)
FULL_LEAST_S = 1800.0  # a shorter drive has no tail current; our choice
LOW_FULL = 0.75  # "full" and yet below this with all its interval; our choice
ACCEPTS = 0.1  # EN 50342-1: half charged, 0 °C, 14.4 V, after 10 min: 2 × C20/20 at least (from memory)
ACCEPTS_POOR = 0.02  # a fifth of that as the mean of a drive, and not full; our choice


@dataclass(frozen=True, slots=True)
class Held:
    """Whether the battery holds its charge (None: cannot be told) and the sentences that say why."""

    holds: bool | None
    told: list[str]

    @property
    def cell_is_short(self) -> bool:
        """Whether a cell has gone: then no voltage shows the state of charge."""
        return any("a cell has gone short" in text for text in self.told)


def capacity_estimate(result: Result, capacity: Capacity, kind: BatteryKind | None, scale: float) -> Estimate | None:
    """Capacity, Ah, from the charge counted between two settled open-circuit voltages.

    The change of the state of charge is read from every table that may be this battery's: their spread and the
    intervals of both voltages make the interval. None where that cannot carry a figure.
    """
    if kind == "lifepo4":
        return None  # flat: its voltage does not show the state of charge
    best: Estimate | None = None
    rests = settled_rests(result)
    for i, (first, a) in enumerate(rests):
        for last, b in rests[i + 1 :]:
            if a.ocv_volts is None or b.ocv_volts is None:
                continue
            moves = [move_of(part, end_of(part, result), capacity) for part in between(result, first, last)]
            known = [move for move in moves if move is not None]
            if len(known) < len(moves):
                continue
            low_ah, high_ah = sorted((sum(m.low for m in known), sum(m.high for m in known)))
            if low_ah < 0 < high_ah:
                continue
            changes = [read_table(t, b.ocv_volts / scale) - read_table(t, a.ocv_volts / scale) for t in tables_of(kind)]
            doubt = sum((r.ocv_high or 0.0) - (r.ocv_low or 0.0) for r in (a, b)) / 2 / scale / SLOPE_V_PER_FULL
            sign = 1.0 if changes[0] > 0 else -1.0
            least = min(sign * c for c in changes) - doubt
            most = max(sign * c for c in changes) + doubt
            counted = sorted(abs(ah) for ah in (low_ah, high_ah))
            if least < CAPACITY_CHANGE / 2 or abs(changes[0]) < CAPACITY_CHANGE or sign * (low_ah + high_ah) <= 0:
                continue
            value = sum(m.value for m in known) / changes[0]
            low, high = min(counted[0] / most, value), max(counted[1] / least, value)
            if high > CAPACITY_WIDTH * low or (best is not None and high - low >= (best.high or 0) - (best.low or 0)):
                continue
            basis = (
                f"{sum(m.value for m in known):+.1f} Ah counted from {a.ocv_volts:.2f} to {b.ocv_volts:.2f} V at rest;"
                " width from the tables' differences, both voltages and what was not counted"
            )
            best = Estimate(value=value, low=low, high=high, basis=basis.replace("-", "−"))
    return best


def crank_sentences(result: Result, scale: float) -> list[str]:
    """The lowest crank against the published table: at its temperature, or from which temperature on it would pass."""
    seen = [(volts, c) for d in result.drives if (c := d.crank) is not None and (volts := c.volts_load) is not None]
    if not seen:
        return []
    lowest, crank = min(seen, key=lambda s: s[0] - least_cranking_v(s[1].celsius) * scale)
    lowest /= scale
    times = f"{crank.duration_s:.1f} s " if crank.duration_s is not None else ""
    begun = f"A {times}crank pulled the battery to {lowest:.2f} V" + (f" (for 12 V: ×{scale:g})" if scale != 1 else "")
    asked = least_cranking_v(crank.celsius)
    if crank.celsius is not None:
        limit = f"the {asked:.1f} V asked at {_celsius(crank.celsius)} (load-test table of two makers)"
        return [f"{begun}: above {limit}." if lowest >= asked else f"{begun}: below {limit}: weak, or a bad joint."]
    if lowest >= asked:
        return [f"{begun}: above the 9.6 V asked at 21 °C (load-test table of two makers)."]
    if lowest < CRANK_LEAST[0][1]:
        return [f"{begun}: below even the 8.5 V asked at −18 °C (load-test table of two makers): weak, or a bad joint."]
    passes = read_table(tuple((volts, celsius) for celsius, volts in CRANK_LEAST), lowest)
    return [
        f"{begun}: passes the load-test table of two makers only if it was colder than {_celsius(passes)}"
        " (9.6 V at 21 °C, 9.1 V at −1 °C, 8.5 V at −18 °C)."
    ]


def least_cranking_v(celsius: float | None) -> float:
    """The least volts of a 12 V battery under half its cold-cranking amps for 15 s; None: at 21 °C.

    >>> least_cranking_v(10.0), least_cranking_v(None), round(least_cranking_v(7.0), 2)
    (9.4, 9.6, 9.35)
    """
    if celsius is None:
        return CRANK_LEAST[-1][1]
    return read_table(CRANK_LEAST, min(max(celsius, CRANK_LEAST[0][0]), CRANK_LEAST[-1][0]))


def holds_charge(result: Result, capacity: Capacity, kind: BatteryKind | None, scale: float) -> Held:
    """Whether the rest voltage falls only as fast as the counted charge explains.

    A worn battery falls faster for the same charge, and tables differ in their slope: both are allowed for before a
    loss is called one. Below the tables' empty end any battery that is drawn from falls steeply: that is not judged.
    """
    told = [*_cell_told(result, capacity, kind, scale), *_full_yet_low(result, capacity, scale)]
    if told or kind == "lifepo4":
        return Held(False if told else None, told)
    slopes = [(b[0] - a[0]) / (b[1] - a[1]) for table in tables_of(kind) for a, b in pairwise(table)]
    bounds: list[float] = []
    lost: list[tuple[float, str]] = []  # share of the charge a day, and in words
    for stand in result.stands:
        decay, hours = stand.rest.decay_mv_per_h, (end_of(stand, result) - stand.start) / 3600e6
        known = decay is not None and stand.charge_out_ah is not None and hours >= HOLDS_H
        if not known or stand.charges or stand.unobserved_s > 360.0 * hours or _was_emptied(stand, capacity, scale):
            continue
        assert decay is not None  # `known`
        assert stand.charge_out_ah is not None
        rate = 1000.0 * scale * stand.charge_out_ah / hours / capacity.ah  # mV/h for a volt of slope
        most, least = rate * max(slopes) * WORN_TIMES, rate * min(slopes)
        doubt = max(DECAY_DOUBT_MV_PER_H * scale, decay / 2)
        if decay - most > doubt:
            share = _a_day(decay - most, scale)
            lost.append((share, _lost_inside(stand, hours, decay, most, share)))
        bounds.append(_a_day(decay + doubt - least, scale))
    if len(lost) > 1 or any(share > ALONE_A_DAY for share, _ in lost):
        return Held(False, [max(lost)[1]])
    if lost or not bounds or median(bounds) > GROSS_A_DAY:
        return Held(None, told)
    most_share = max(median(bounds), LEAST_TOLD_A_DAY)
    text = f"It holds its charge: at rest it loses at most {most_share * 100:.0f} % a day beyond what was counted."
    return Held(True, [text])


def acceptance_sentences(result: Result, capacity: Capacity, scale: float) -> list[str]:
    """Drives at full charging volts in which a battery known to be low took hardly any current."""
    if not capacity.is_known:
        return []
    for drive in result.drives:
        before = [s for s, rest in settled_rests(result) if rest.settled and end_of(s, result) <= drive.start]
        high = before[-1].rest.state_of_charge_high if before else None
        seconds = (end_of(drive, result) - drive.start) / 1e6
        volts = drive.charging.volts_median
        if high is None or high > LOW_FULL or volts is None or volts / scale < FULL_V or seconds < 600.0:
            continue
        if drive.charge_in_ah is None or drive.unobserved_s > 0.1 * seconds:
            continue
        amps = drive.charge_in_ah / (seconds / 3600.0)
        if amps < ACCEPTS_POOR * capacity.ah:
            return [
                f"At {volts:.1f} V it took {amps:.1f} A on average over {seconds / 60:.0f} min, though at most"
                f" {high * 100:.0f} % charged: a half-charged battery takes {ACCEPTS * capacity.ah:.0f} A after 10 min"
                " at 0 °C (EN 50342-1, from memory). It accepts charge poorly."
            ]
    return []


def _was_emptied(stand: Stand, capacity: Capacity, scale: float) -> bool:
    return is_empty(stand.rest, scale) and (stand.charge_out_ah or 0.0) > EMPTIES * capacity.ah


def _celsius(value: float) -> str:
    return f"{value:.0f} °C".replace("-", "−")


def _a_day(mv_per_h: float, scale: float) -> float:
    """Share of the charge lost a day that moves the rest voltage so (BCI slope)."""
    return mv_per_h / 1000.0 / scale / SLOPE_V_PER_FULL * 24.0


def _lost_inside(stand: Stand, hours: float, decay: float, explained: float, share: float) -> str:
    return (
        f"Over {hours:.0f} h at rest the voltage fell {decay:.1f} mV/h; the counted {stand.charge_out_ah:.2f} Ah"
        f" explain {explained:.1f} mV/h at most, even in a battery worn to half. The rest, about {share * 100:.0f} % of"
        " the charge a day, is lost inside it: self-discharge or a cell going short."
    )


def _cell_told(result: Result, capacity: Capacity, kind: BatteryKind | None, scale: float) -> list[str]:
    step = cell_step(result, capacity, kind, scale)
    if step is None or step.drawn_ah is None:
        return []
    return [f"{step.told}: a step of about one cell ({CELL_V} V), a cell has gone short."]


def _full_yet_low(result: Result, capacity: Capacity, scale: float) -> list[str]:
    """Full by its tail current, and after it a settled rest voltage that is far from full."""
    if not capacity.is_known:
        return []
    rests = settled_rests(result)
    for drive in result.drives:
        tail, volts = drive.charging.tail_amps, drive.charging.volts_median
        seconds = (end_of(drive, result) - drive.start) / 1e6
        if tail is None or volts is None or volts / scale < FULL_V or seconds < FULL_LEAST_S:
            continue
        after = [rest for stand, rest in rests if stand.start == drive.end]
        high = after[0].state_of_charge_high if after else None
        if not 0 <= tail <= FULL_TAIL * capacity.ah or high is None or high > LOW_FULL:
            continue
        return [
            f"Full by its tail current ({tail:.1f} A at {volts:.1f} V), yet at rest {after[0].ocv_volts:.2f} V, at most"
            f" {high * 100:.0f} %: a weak cell, sulfation or low acid."
        ]
    return []
