"""Admission of rows: which cells are believable readings, and under which reason the others are counted.

A flawed cell is left out and counted; the rest of its row is kept, since a clamp in overload must not cost the
volts of the crank. A row of which nothing is left is refused; one that carries none of our channels is passed over.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from monitor.base.ledger import Ledger
from monitor.base.samples import Floats, Ints
from monitor.sources.cells import mark_figures
from monitor.sources.rows import (
    ABSENT,
    CHANNELS,
    GOOD,
    NOT_A_NUMBER,
    OUT_OF_RANGE,
    OVERLOAD,
    Cells,
    Codes,
    Fault,
    Rows,
    Where,
    fault,
)  # fmt: skip

# Believable at the posts of a 12 V battery, in proportion for others; our choice: the deepest crank in
# ISO 16750-2:2023 (level III) is 3 V, a load dump or a jump from a 24 V vehicle is no reading of this battery.
VOLTS_LOW, VOLTS_HIGH, VOLTS_NOMINAL = 2.0, 20.0, 12.0
AMPS_MOST = 3000.0  # our choice: the largest starters' inrush is some 1,200 A (trade fact, low confidence)
CELSIUS_LOW, CELSIUS_HIGH = -60.0, 150.0  # our choice: beyond both the weather and a bonnet
KEPT = " (rest of row kept)"
_TALLY_EVERY = 16  # rows; our choice: enough to tell a nominal voltage, and cheap

# Volts at which a battery of each nominal voltage spends its life; common practice.
BANDS = {6.0: (5.4, 7.8), 12.0: (10.5, 15.6), 24.0: (21.0, 31.0)}
_MILLIVOLTS = (5400.0, 31000.0)


@dataclass(frozen=True, slots=True)
class Bounds:
    """Lowest and highest believable reading per channel."""

    volts: tuple[float, float]
    amps: tuple[float, float] = (-AMPS_MOST, AMPS_MOST)
    celsius: tuple[float, float] = (CELSIUS_LOW, CELSIUS_HIGH)

    @staticmethod
    def of(nominal_v: float) -> Bounds:
        """Bounds for a battery of that nominal voltage."""
        factor = nominal_v / VOLTS_NOMINAL
        return Bounds((VOLTS_LOW * factor, VOLTS_HIGH * factor))


@dataclass(slots=True)
class Tally:
    """A sample of the volts that came in, believable or not, by the nominal voltage they would fit."""

    seen: int = 0
    fits: dict[float, int] = field(default_factory=lambda: dict.fromkeys(BANDS, 0))
    millivolts: int = 0

    def add(self, volts: Floats) -> None:
        """Count every so many of these readings."""
        part = volts[::_TALLY_EVERY]
        part = part[np.isfinite(part)]
        self.seen += len(part)
        for nominal, (low, high) in BANDS.items():
            self.fits[nominal] += int(np.count_nonzero((part >= low) & (part <= high)))
        self.millivolts += int(np.count_nonzero((part >= _MILLIVOLTS[0]) & (part <= _MILLIVOLTS[1])))

    def hint(self, nominal_v: float) -> str | None:
        """The setting that most volts ask for, when it is another than the one in force."""
        for nominal, count in self.fits.items():
            if nominal != nominal_v and 2 * count > self.seen:
                return f'set [battery] nominal = "{nominal:g} V"'
        if 2 * self.millivolts > self.seen:
            return 'set [log] volts = { unit = "mV" }'
        return None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Admitted rows in the order of the file: t_us (n,), one float64 array (n,) per channel with NaN where there is
    no reading, and where row i stands."""

    t_us: Ints
    channels: dict[str, Floats]
    where: Where

    def __len__(self) -> int:
        return len(self.t_us)


class Admission:
    """Admits the rows of one log and keeps the books.

    others   rows that carry none of our channels
    """

    def __init__(self, bounds: Bounds, ledger: Ledger, tally: Tally) -> None:
        self._bounds = bounds
        self.ledger = ledger
        self._tally = tally
        self.others = 0

    def admit(self, rows: Rows) -> Stretch:
        """The believable part of the rows."""
        for bad in rows.faults:
            enter(self.ledger, bad)
        if "volts" in rows.channels:
            self._tally.add(_present(rows.channels["volts"]))
        codes = {name: _judge(cells, getattr(self._bounds, name)) for name, cells in rows.channels.items()}
        values = {name: cells.values for name, cells in rows.channels.items()}
        if all(code is None for code in codes.values()):
            return Stretch(rows.t_us, values, rows.where)
        flaws = {name: np.zeros(len(rows.t_us), np.uint8) if code is None else code for name, code in codes.items()}
        values = {name: np.where(flaws[name] == GOOD, values[name], np.nan) for name in values}
        left = np.logical_or.reduce([flaw == GOOD for flaw in flaws.values()])
        empty = np.logical_and.reduce([flaw == ABSENT for flaw in flaws.values()])
        self.others += int(np.count_nonzero(empty))
        self._count_flaws(flaws, left, rows.where)
        if left.all():
            return Stretch(rows.t_us, values, rows.where)
        index = np.flatnonzero(left)
        where = rows.where
        return Stretch(
            rows.t_us[index], {name: v[index] for name, v in values.items()}, lambda row: where(int(index[row]))
        )

    def _count_flaws(self, flaws: dict[str, Codes], left: npt.NDArray[np.bool_], where: Where) -> None:
        open_rows = ~left  # refused, and not yet counted
        for name in (c for c in CHANNELS if c in flaws):
            for code in (OVERLOAD, NOT_A_NUMBER, OUT_OF_RANGE):
                here = flaws[name] == code
                for rows, suffix in ((here & left, KEPT), (here & open_rows, "")):
                    index = np.flatnonzero(rows).tolist()
                    if index:
                        bad = fault(self._reason(name, code) + suffix, index, where)
                        enter(self.ledger, bad)
                open_rows &= ~here

    def _reason(self, channel: str, code: int) -> str:
        if code == OVERLOAD:
            return f"{channel} overload"
        if code == NOT_A_NUMBER:
            return f"{channel} not a number"
        low, high = getattr(self._bounds, channel)
        unit = {"volts": "V", "amps": "A", "celsius": "°C"}[channel]
        return f"{channel} outside {low:g} to {high:g} {unit}"


def enter(ledger: Ledger, bad: Fault) -> None:
    """Enter refused lines into the books."""
    ledger.refuse(bad.reason, None, bad.count)
    for line in bad.first:
        ledger.refuse(bad.reason, line, 0)


def _present(cells: Cells) -> Floats:
    return cells.values if cells.flaws is None else cells.values[cells.flaws == GOOD]


def _judge(cells: Cells, bounds: tuple[float, float]) -> Codes | None:
    """Flaws of each cell, None when there are none."""
    low, high = bounds
    values = cells.values
    if cells.flaws is None and len(values) and values.min() >= low and values.max() <= high:  # False with any NaN
        return None
    flaws = np.zeros(len(values), np.uint8) if cells.flaws is None else cells.flaws.copy()
    mark_figures(values, flaws)
    with np.errstate(invalid="ignore"):
        flaws[(flaws == GOOD) & ((values < low) | (values > high))] = OUT_OF_RANGE
    return flaws if flaws.any() else None
