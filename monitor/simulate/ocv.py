"""Open-circuit voltage of a 12 V battery by kind and state of charge, from published tables.

flooded   BCI table, 80 °F, acid SG 1.265 full: 12.65/12.45/12.24/12.06/11.89 V at 100/75/50/25/0 %
agm, gel  a published German trade table (wet/gel/AGM columns); its "<" entry at 0 % is set 0.1 V under the bound
efb       BCI table raised by 0.12 V: acid SG 1.28 full reads 12.77 V (H. Bode, Lead-Acid Batteries, 1977)
lifepo4   three contradicting published tables; a middle course, from memory above 90 %
"""

from __future__ import annotations

import numpy as np

from monitor.base.samples import Floats
from monitor.base.vehicle import BatteryKind

TABLES: dict[BatteryKind, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "flooded": ((0.0, 0.25, 0.5, 0.75, 1.0), (11.89, 12.06, 12.24, 12.45, 12.65)),
    "efb": ((0.0, 0.25, 0.5, 0.75, 1.0), (12.01, 12.18, 12.36, 12.57, 12.77)),
    "agm": ((0.0, 0.2, 0.5, 0.6, 0.7, 0.9, 1.0), (11.90, 12.00, 12.40, 12.50, 12.55, 12.80, 12.85)),
    "gel": ((0.0, 0.2, 0.5, 0.6, 0.7, 0.9, 1.0), (11.90, 12.10, 12.45, 12.50, 12.60, 12.85, 12.90)),
    "lifepo4": ((0.0, 0.1, 0.2, 0.3, 0.4, 0.8, 0.9, 1.0), (10.0, 12.0, 12.8, 13.0, 13.2, 13.25, 13.35, 13.6)),
}
TABLE_CELSIUS = 26.7  # BCI
KELVIN_V = 0.0015  # per 12 V battery: dE/dT = +0.25 mV/K/cell (electrochemistry handbooks: Bode, Vinal; from memory)


def ocv_volts(kind: BatteryKind, soc: float | Floats, celsius: float | Floats = TABLE_CELSIUS) -> Floats:
    """Open-circuit volts of a 12 V battery at state of charge 0…1.

    >>> float(ocv_volts("flooded", 0.75))
    12.45
    """
    at, volts = TABLES[kind]
    kelvin = 0.0 if kind == "lifepo4" else KELVIN_V
    return np.asarray(np.interp(soc, at, volts) + kelvin * (np.asarray(celsius) - TABLE_CELSIUS), dtype=np.float64)
