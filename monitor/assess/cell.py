"""A cell that has gone short: a rest that lies one cell lower than the rest before, though the charge was still there.

A battery emptied by its load falls as far. It differs in three ways: the charge drawn comes near what the voltage
before says was left, its voltage comes back with the next drives, and, where no drive follows, it falls on while it is
drawn from.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from monitor.assess.ratings import Capacity
from monitor.base.results import Drive, Rest, Result, Stand
from monitor.base.vehicle import BatteryKind
from monitor.detect.ocv import EMPTY_V, read_table, tables_of

CELL_V, CELL_DOUBT_V = 2.1, 0.5  # one cell (from memory); its voltage by charge, load and relaxation, our choice
EMPTIES_SHARE = 0.3  # so much of the capacity taken out may empty it just as well; our choice
EMPTIES_LEFT = 0.5  # so much of what was left: a battery worn to half its capacity is empty by then; our choice
RETURNS = 0.5  # of the fall: a later rest that lies so much higher is a battery that was charged again; our choice
FALLS_ON = 0.5  # of the fall, still going on in the rest itself: it is being emptied; our choice


@dataclass(frozen=True, slots=True)
class CellStep:
    """Rest volts before and after, of the whole battery; net Ah drawn between, None where it was not counted."""

    before: float
    after: float
    drawn_ah: float | None

    @property
    def told(self) -> str:
        """The step in words, with its numbers."""
        if self.drawn_ah is None:
            why = "and does not come back"
        elif self.drawn_ah > 0:
            why = f"with only {self.drawn_ah:.1f} Ah drawn"
        else:
            why = f"though {-self.drawn_ah:.1f} Ah more were put back than drawn"
        return f"The rest voltage fell from {self.before:.2f} to {self.after:.2f} V {why}"


def cell_step(result: Result, capacity: Capacity, kind: BatteryKind | None, scale: float) -> CellStep | None:
    """The first such step of a lead-acid battery, or None. `scale`: nominal volts / 12."""
    if kind == "lifepo4":
        return None
    tables = tables_of(kind)
    rests = [(stand, stand.rest.volts) for stand in result.stands if stand.rest.volts is not None]
    for place, ((a, before), (b, after)) in enumerate(pairwise(rests)):
        fall = before - after
        if abs(fall - CELL_V) > CELL_DOUBT_V:
            continue
        later = [volts for _, volts in rests[place + 2 :]]
        if any(volts > after + RETURNS * fall for volts in later):
            continue
        drawn = _drawn(result, a, b)
        if drawn is None:
            emptied = not later and _fell_itself(b) > FALLS_ON * fall
        else:
            left = min(read_table(table, before / scale) for table in tables)
            emptied = drawn > capacity.low_ah * min(EMPTIES_SHARE, EMPTIES_LEFT * left)
        if not emptied:
            return CellStep(before, after, drawn)
    return None


def _drawn(result: Result, a: Stand, b: Stand) -> float | None:
    """Net Ah from the end of one stand to the end of the next; None where a part was not counted."""
    parts: list[Stand | Drive] = [*(d for d in result.drives if a.start <= d.start < b.start), b]
    out = [None if p.charge_out_ah is None else p.charge_out_ah - (p.charge_in_ah or 0.0) for p in parts]
    return None if None in out else sum(ah for ah in out if ah is not None)


def _fell_itself(stand: Stand) -> float:
    """Volts by which the rest fell while it lasted, relaxation left out."""
    decay = stand.rest.decay_mv_per_h
    return 0.0 if decay is None or stand.end is None else decay / 1e3 * (stand.end - stand.start) / 3600e6


def is_empty(rest: Rest, scale: float) -> bool:
    """Below the tables' empty end, where any battery's voltage falls steeply whatever draws from it."""
    return rest.volts is not None and rest.volts / scale < EMPTY_V
