"""Published open-circuit voltage tables by battery kind, and the state of charge read from them with honest width.

All voltages are for a rested 12 V battery near 25 °C; 6 and 24 V batteries are read through their scale.
The tables of one kind disagree among themselves by up to 0.09 V, which is ±10 % state of charge: no reading is
narrower than that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.base.vehicle import BatteryKind

Row = tuple[float, float]  # V, state of charge 0..1

# Flooded, specific gravity 1.265 when full, at 26.7 °C: Battery Council International (BCI) table; four published
# copies agree to the hundredth of a volt.
FLOODED: tuple[Row, ...] = ((11.89, 0.0), (12.06, 0.25), (12.24, 0.50), (12.45, 0.75), (12.65, 1.0))

# A German trade table prints wet, AGM and gel side by side (common practice; one source).
WET_DE: tuple[Row, ...] = (
    (11.90, 0.0),
    (12.00, 0.2),
    (12.30, 0.5),
    (12.40, 0.6),
    (12.50, 0.7),
    (12.65, 0.9),
    (12.70, 1.0),
)
GEL: tuple[Row, ...] = (
    (12.00, 0.0),
    (12.10, 0.2),
    (12.45, 0.5),
    (12.50, 0.6),
    (12.60, 0.7),
    (12.85, 0.9),
    (12.90, 1.0),
)
# The AGM column prints "12.00 = 20 %" and "below 12.00 = 0 %". Our choice for its empty end: 0.10 V lower, as the two
# columns beside it fall from 20 % to 0.
AGM: tuple[Row, ...] = (
    (11.90, 0.0),
    (12.00, 0.2),
    (12.40, 0.5),
    (12.50, 0.6),
    (12.55, 0.7),
    (12.80, 0.9),
    (12.85, 1.0),
)

# EFB and calcium/calcium: 12.70-12.80 V when full (from memory; acid of 1.28-1.29 through the Bode 1977 polynomial
# gives 12.77-12.83). No table was found. Our choice: the BCI table raised by the middle of that, and a wider reading.
EFB_RAISE_V = 0.10
EFB_DOUBT_V = 0.05
EFB: tuple[Row, ...] = tuple((volts + EFB_RAISE_V, share) for volts, share in FLOODED)

EMPTY_V = FLOODED[0][0]  # for 12 V: below it no table has a row, and any battery falls steeply

TABLES: dict[str, tuple[Row, ...]] = {"flooded": FLOODED, "wet": WET_DE, "efb": EFB, "agm": AGM, "gel": GEL}

TABLE_DOUBT = 0.10  # ±10 % state of charge is what published tables agree to

# LiFePO4: three published tables put 13.2 V at 40, 75-80 and 80 %, and 12.8 V at 20 or 50 %: within the flat part a
# voltage says nothing. Below it 12.0 V = 10 % is printed; empty at 10.0 V and above 80 % over 13.35 V are from memory.
LIFEPO4_FLAT_V = (12.90, 13.35)
LIFEPO4_LOW: tuple[Row, ...] = ((10.0, 0.0), (12.0, 0.10), (12.8, 0.20), (12.9, 0.25))
LIFEPO4_LOW_DOUBT_UP = 0.30  # 12.8 V is 50 % in one of the tables
LIFEPO4_FULL = (0.80, 0.95, 1.0)

SLOPE_V_PER_FULL = 0.76  # V from empty to full, BCI table: 7.6 mV per 1 %


@dataclass(frozen=True, slots=True)
class Charge:
    """State of charge as fractions 0..1, and the table it rests on in words; None where the voltage cannot tell."""

    value: float | None
    low: float | None
    high: float | None
    basis: str


def read_table(table: tuple[Row, ...], volts: float) -> float:
    """State of charge 0..1 by straight lines between the rows of a table; the ends are held.

    >>> round(read_table(FLOODED, 12.345), 3)
    0.625
    """
    return float(np.interp(volts, [v for v, _ in table], [share for _, share in table]))


def tables_of(kind: BatteryKind | None) -> list[tuple[Row, ...]]:
    """The tables that may be this battery's: at least two, for one alone is no measure of how far tables differ."""
    if kind is None:
        return [TABLES[name] for name in ("flooded", "wet", "efb", "agm", "gel")]
    if kind == "flooded":
        return [TABLES["flooded"], TABLES["wet"]]
    return [TABLES[kind], TABLES["flooded"] if kind == "efb" else TABLES["gel" if kind == "agm" else "agm"]]


def state_of_charge(
    kind: BatteryKind | None, ocv: float, low: float | None = None, high: float | None = None, scale: float = 1.0
) -> Charge:
    """State of charge from a settled open-circuit voltage.

    kind       battery kind; None: read as flooded, and widened to hold what the AGM, gel and EFB tables would say
    ocv        V, of the whole battery; `low` and `high` are its interval (None: taken as exact)
    scale      nominal volts / 12

    >>> c = state_of_charge("flooded", 12.27)
    >>> round(c.value, 3), round(c.low, 3), round(c.high, 3)
    (0.536, 0.436, 0.636)
    """
    centre = ocv / scale
    lowest = (ocv if low is None else low) / scale
    highest = (ocv if high is None else high) / scale
    if kind == "lifepo4":
        return _lifepo4(centre, lowest, highest)
    others: tuple[str, ...]
    if kind == "flooded":
        own, others, basis = FLOODED, ("flooded", "wet"), "BCI table for flooded batteries"
    elif kind == "efb":
        own, others, basis = EFB, ("efb",), "BCI table raised by 0.10 V for an EFB battery"
        lowest, highest = lowest - EFB_DOUBT_V, highest + EFB_DOUBT_V
    elif kind == "agm":
        own, others, basis = AGM, ("agm",), "trade table for AGM batteries"
    elif kind == "gel":
        own, others, basis = GEL, ("gel",), "trade table for gel batteries"
    else:
        own, others = FLOODED, ("flooded", "wet", "efb", "agm", "gel")
        basis = "battery kind not known: BCI table for flooded batteries, width also covers AGM, gel and EFB tables"
    value = read_table(own, centre)
    under = min(read_table(own, lowest) - TABLE_DOUBT, *(read_table(TABLES[o], lowest) for o in others))
    over = max(read_table(own, highest) + TABLE_DOUBT, *(read_table(TABLES[o], highest) for o in others))
    return Charge(value, max(0.0, under), min(1.0, over), basis)


def _lifepo4(centre: float, lowest: float, highest: float) -> Charge:
    flat_low, flat_high = LIFEPO4_FLAT_V
    if lowest <= flat_high and highest >= flat_low:
        return Charge(None, None, None, "a LiFePO4 battery between 12.9 and 13.35 V does not show its state of charge")
    if lowest > flat_high:
        low, value, high = LIFEPO4_FULL
        return Charge(value, low, high, "a LiFePO4 battery resting above 13.35 V is nearly full")
    return Charge(
        read_table(LIFEPO4_LOW, centre),
        max(0.0, read_table(LIFEPO4_LOW, lowest) - TABLE_DOUBT),
        min(1.0, read_table(LIFEPO4_LOW, highest) + LIFEPO4_LOW_DOUBT_UP),
        "published LiFePO4 tables, which disagree",
    )
