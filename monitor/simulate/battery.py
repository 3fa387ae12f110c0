"""The battery: open-circuit volts, ohmic resistance and three relaxing overvoltages, stepped through time.

    volts = OCV(SoC, T) + v_seconds + v_minutes + v_hours + R0 · amps

Form: a Randles circuit with exponential recovery (Csomós, Fodor, Kohlrusz, Hung. J. Ind. Chem. 45(1) 67–71, 2017) in
the spirit of Ceraolo's third-order model (IEEE Trans. Power Systems 15(4), 2000). Each overvoltage relaxes with its own
time constant toward R_k · amps. R_k is small on discharge and large on charge near full, which is what limits the
current a lead-acid battery accepts under constant voltage and leaves surface charge to decay for hours afterwards.
Numbers are our choice within the ranges named beside them.
"""

from __future__ import annotations

import math

from monitor.simulate.ocv import KELVIN_V, TABLE_CELSIUS, ocv_volts
from monitor.simulate.scenario import BatterySpec

CELL_V = 2.1  # a shorted cell takes this from a lead-acid battery (12.6 V / 6; common practice)
DC_OHM_65AH = 0.0061  # DC (5 s) resistance of a new 60–70 Ah starter battery: 6–10 mΩ, from memory; meets its EN rating
KIND_RESISTANCE = {"flooded": 1.0, "efb": 0.9, "agm": 0.55, "gel": 1.2, "lifepo4": 0.6}  # large AGM 2–3 mΩ, from memory
OHMIC_SHARE = 0.6  # of the DC resistance: AC 3–6 mΩ against DC 6–10 mΩ, from memory
COLD_PER_K = 0.0127  # R grows ×1.5–2 from +25 to −18 °C (from memory): exp(0.0127·43) = 1.73
TAU_S = (20.0, 420.0, 10800.0)  # seconds, 5–30 min, 2–8 h: practical relaxation fits of rested batteries
DISCHARGE_SHARE = (0.4, 0.6, 1.5)  # of the DC resistance, by branch: 30 A for an hour recovers some 0.6 V
CHARGE_SHARE = (0.40, 0.35, 0.25)  # after 14.4 V falls fast to about 13.2 V, then slowly to 12.7 V (published note)
CHARGE_OHM_65AH = 0.06  # at half charge, 25 °C: passes EN 50342-1 acceptance, 10 min at 0 °C and 14.4 V ≥ C20/10
CHARGE_GROWTH = 3.5  # exponent per SoC: some 6 A at 85 % and 14.3 V
FULL_OHM_65AH, FULL_SOC = 3.2, 0.035  # full: a tail of 0.5–1 % of C20 at 14.4 V (from memory)
ONSET_V, ONSET_SHARE = (
    0.35,
    0.01,
)  # charging needs this overvoltage first, half of it at C20/100: at 13.0 V a battery takes
# hardly anything (a published system treats < 13.2 V for 45 min as sulfating risk); size our choice
CHARGE_COLD_PER_K = 0.03  # a cold battery accepts little (service notes); size our choice
GASSING_SOC = 0.03  # the last few per cent of charge go ever more into gas: charge factor 1.1–1.2
WARM_DOUBLING_K = 10.0  # self-discharge doubles per 10 °C
MONTH_S = 30 * 86400.0
EMPTY_GROWTH, EMPTY_SOC = 40.0, 0.015  # discharge starves for acid near empty: the C20 discharge ends near 10.5 V there
BEYOND_EMPTY_V = 60.0  # volts per SoC below empty: a drain that goes on pulls a flat battery to nothing; our choice
EMPTIEST_SOC = -0.15
OCV_POINTS = 2000


class Battery:
    """State and laws of one battery; currents in battery convention, + into it.

    soc        state of charge 0…1
    v1 v2 v3   overvoltages in V, of the seconds, minutes and hours branch
    celsius    temperature, set by the caller with `at`
    """

    def __init__(self, spec: BatterySpec) -> None:
        self.spec = spec
        self.scale = spec.nominal / 12.0
        self.capacity_as = spec.capacity * spec.health * 3600.0
        size = 65.0 / spec.capacity * self.scale
        new_ohm = spec.resistance or DC_OHM_65AH * KIND_RESISTANCE[spec.kind] * size
        aged = 1.0 + 2.0 * (1.0 - spec.health)  # +100 % at health 0.5; +50 % marks replacement (stationary practice)
        self.dc_ohm = new_ohm * aged
        self._accept = size * aged
        self._onset_v = ONSET_V * self.scale
        self._onset_a = ONSET_SHARE * spec.capacity
        self._was_a = 0.0
        self._left_dt_s = 0.0
        self._left_of = (1.0, 1.0, 1.0)
        self._leak = spec.self_discharge / MONTH_S
        self._kelvin = 0.0 if spec.kind == "lifepo4" else KELVIN_V
        table = ocv_volts(spec.kind, [i / OCV_POINTS for i in range(OCV_POINTS + 1)])  # type: ignore[arg-type]  # list
        self._table: list[float] = [float(v) for v in table]
        self.soc = spec.state_of_charge
        self.lost_v = 0.0
        self.v1 = self.v2 = 0.0
        left = math.exp(-spec.rested / TAU_S[2])
        self.v3 = 0.45 * self.scale * left  # what a drive left on the slow branch, decayed since
        self.at(15.0)

    def at(self, celsius: float) -> None:
        """Set the temperature; resistances follow it and the state of charge."""
        self.celsius = celsius
        soc = min(max(self.soc, 0.0), 1.0)
        low = 1.0 + 0.6 * (1.0 - soc) ** 2  # thin acid conducts worse; our choice
        cold = math.exp(-COLD_PER_K * (celsius - 25.0))
        self.r0 = OHMIC_SHARE * self.dc_ohm * low * cold
        starved = 1.0 + EMPTY_GROWTH * math.exp(-soc / EMPTY_SOC)
        self._dis = (1.0 - OHMIC_SHARE) * self.dc_ohm * low * cold * starved / DISCHARGE_SHARE[0]
        bulk = CHARGE_OHM_65AH * math.exp(CHARGE_GROWTH * (soc - 0.5))
        full = FULL_OHM_65AH * math.exp((soc - 1.0) / FULL_SOC)
        self._chg = self._accept * (bulk + full) * math.exp(-CHARGE_COLD_PER_K * (celsius - 25.0))

    def ocv(self) -> float:
        """Open-circuit volts now."""
        x = min(max(self.soc, 0.0), 1.0) * OCV_POINTS
        i = min(int(x), OCV_POINTS - 1)
        base = self._table[i] + (self._table[i + 1] - self._table[i]) * (x - i) + BEYOND_EMPTY_V * min(self.soc, 0.0)
        return (base + self._kelvin * (self.celsius - TABLE_CELSIUS)) * self.scale - self.lost_v

    def emf(self) -> float:
        """Volts at no current: open-circuit volts and what has not relaxed."""
        return self.ocv() + self.v1 + self.v2 + self.v3

    def volts(self, amps: float) -> float:
        """Volts at the posts at this current."""
        return self.ocv() + self.v1 + self.v2 + self.v3 + self.r0 * amps

    def _left(self, dt_s: float) -> tuple[float, float, float]:
        """What is left of each overvoltage after `dt_s`; kept, because a step asks for it twice."""
        if dt_s != self._left_dt_s:
            self._left_dt_s = dt_s
            one, two, three = TAU_S
            self._left_of = (math.exp(-dt_s / one), math.exp(-dt_s / two), math.exp(-dt_s / three))
        return self._left_of

    def held(self, dt_s: float, volts: float, series_ohm: float) -> float:
        """Current at the end of a step of `dt_s` if `volts` is held behind `series_ohm`: implicit, so it is stable."""
        a1, a2, a3 = self._left(dt_s)
        push = volts - self.ocv() - a1 * self.v1 - a2 * self.v2 - a3 * self.v3
        if push > 0:
            grow = CHARGE_SHARE[0] * (1 - a1) + CHARGE_SHARE[1] * (1 - a2) + CHARGE_SHARE[2] * (1 - a3)
            # the onset at the step before's current: a contraction, so it settles within steps without swinging
            grow *= self._chg + self._onset_v / (max(self._was_a, 0.0) + self._onset_a)
        else:
            shares = DISCHARGE_SHARE
            grow = (shares[0] * (1 - a1) + shares[1] * (1 - a2) + shares[2] * (1 - a3)) * self._dis
        return push / (self.r0 + series_ohm + grow)

    def step(self, dt_s: float, polarising_a: float, mean_a: float) -> None:
        """Advance by `dt_s`: overvoltages under `polarising_a`, charge by `mean_a`, self-discharge."""
        a1, a2, a3 = self._left(dt_s)
        charged = self._chg * polarising_a
        self._was_a = polarising_a
        if polarising_a > 0:
            charged += self._onset_v * polarising_a / (polarising_a + self._onset_a)
            self.v1 = self.v1 * a1 + CHARGE_SHARE[0] * charged * (1 - a1)
            self.v2 = self.v2 * a2 + CHARGE_SHARE[1] * charged * (1 - a2)
            self.v3 = self.v3 * a3 + CHARGE_SHARE[2] * charged * (1 - a3)
        else:
            # a load first takes the surface charge off, from the same store that filled slowly, then polarises
            drawn = self._dis * polarising_a
            self.v1 = _drained(self.v1, a1, CHARGE_SHARE[0] * charged, DISCHARGE_SHARE[0] * drawn)
            self.v2 = _drained(self.v2, a2, CHARGE_SHARE[1] * charged, DISCHARGE_SHARE[1] * drawn)
            self.v3 = _drained(self.v3, a3, CHARGE_SHARE[2] * charged, DISCHARGE_SHARE[2] * drawn)
        stored = mean_a
        if mean_a > 0:
            stored *= 1.0 - math.exp(min(self.soc - 1.0, 0.0) / GASSING_SOC)
        leak = self._leak * 2.0 ** ((self.celsius - 20.0) / WARM_DOUBLING_K)
        self.soc = min(max(self.soc + (stored / self.capacity_as - leak) * dt_s, EMPTIEST_SOC), 1.0)


def _drained(v: float, left: float, while_charged: float, at_last: float) -> float:
    """Overvoltage after a step under load: toward `while_charged` as long as it is above zero, then to `at_last`."""
    if v > 0.0:
        after = v * left + while_charged * (1 - left)
        if after > 0.0:
            return after
        v = 0.0
    return v * left + at_last * (1 - left)
