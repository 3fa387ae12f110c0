"""Rest voltage of a stand: the voltage asleep, relaxation separated from decay, and the state of charge if settled.

Warm-up: nothing but `volts` until the rest has lasted a few minutes; `settled` (and with it a state of charge) from
4 h on, good from 12 h, and only if the fitted relaxation has died down. A gap only leaves minutes out; what it hides is
not filled, and a voltage that is higher after it than before restarts the rest.
Method: robust minute means, two exponentials and a straight decay (relaxation.py), published tables (ocv.py).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monitor.base.results import Rest
from monitor.base.samples import Ints, Seconds
from monitor.detect.facts import Facts
from monitor.detect.minutes import UNKNOWN, MinuteTable, OpenMinute, micro, sort_minutes
from monitor.detect.ocv import SLOPE_V_PER_FULL, state_of_charge
from monitor.detect.relaxation import PRIOR_TEMPERATURE_V_PER_K, Fit, fit_rest
from monitor.detect.rest_span import RestSpan, rest_span

PROVISIONAL_H = 4.0  # rest before an open-circuit reading: published rules run from 1 to 24 h; 4 h is provisional,
GOOD_H = 12.0  # 12 h good (storage rule of a vehicle group)
SETTLED_V_PER_H = 0.002  # relaxation slower than this counts as settled (2 mV/h, about 3 % state of charge in 10 h)
DECAY_SHOWN_V_PER_H = 0.001  # our choice: a decay is reported when its half width is below this or half of itself
LAST_MINUTES_H = 0.5  # our choice: "the end of the stand" for the rest voltage
LAST_BINS = 10
# 6-10 mΩ within seconds for 60-70 Ah (from memory), inversely with capacity; a steady drain meets the slow polarisation
# too: our choice, as much again, and the interval grows by all of the correction either way.
BATTERY_OHM_AH = 2 * 0.008 * 60
NEGLIGIBLE_V = 0.001  # our choice: a third of what a logger resolves
ASSUMED_AH = 60.0  # where the capacity is not known; said in `basis`
TEMPERATURE_SAID_K = 3.0
UNSEEN_TEMPERATURE_V = 0.020  # a night's fall of 15 °C moves the voltage about this much

CHANNELS = 3  # volts, amps, celsius


@dataclass(frozen=True, slots=True)
class SleepView:
    """What the sleep detector knows of the same stand.

    settled_at_us     when it fell asleep, µs UTC; None: not, or there are no amps
    sleep_current_a   level of the sleep plateau, positive drain; None where unknown
    end_us            end of the stand, or now
    """

    settled_at_us: int | None
    sleep_current_a: float | None
    end_us: int


@dataclass(slots=True)
class RestState:
    """All that the detector remembers.

    Columns of the table: minutes, volts (sum); minutes with amps, amps (sum, min, max); minutes with celsius, celsius
    (sum); micro-units.
    """

    open_minute: OpenMinute = field(default_factory=OpenMinute)
    table: MinuteTable = field(
        default_factory=lambda: MinuteTable(["sum", "sum", "sum", "sum", "min", "max", "sum", "sum"])
    )


class RestDetector:
    """Rest voltage, relaxation and decay of one stand."""

    def __init__(self, facts: Facts, start_us: int) -> None:
        """`start_us`: start of the stand, µs UTC."""
        self.facts = facts
        self.start_us = start_us
        self.state = RestState()

    def update(self, seconds: Seconds) -> None:
        """Take the next whole seconds of the stand, any number of them."""
        values = micro(seconds.volts, seconds.amps, seconds.celsius)
        second, whole = self.state.open_minute.take(seconds.second, values)
        _fold(self.state.table, second, whole)

    def result(self, sleep: SleepView) -> Rest:
        """What the stand shows so far; changes nothing."""
        table = self.state.table.copy()
        _fold(table, self.state.open_minute.second, self.state.open_minute.values(CHANNELS))
        facts = self.facts
        span = rest_span(
            table,
            self.start_us,
            facts.scale,
            facts.kind == "lifepo4",
            sleep.settled_at_us,
            sleep.sleep_current_a,
        )
        if span is None or not len(span.volts):
            return Rest(basis="No volts were seen in this stand.")
        fit = fit_rest(span.hours, span.volts, span.weights, span.celsius, facts.scale, span.loads_h)
        return _assemble(facts, span, fit)


def _fold(table: MinuteTable, second: Ints, values: Ints) -> None:
    """Add whole minutes that carry volts to the table."""
    if not len(second):
        return
    minutes = sort_minutes(second, values)
    mean = minutes.middle_mean()
    seen = mean[0] != UNKNOWN
    volts, amps, celsius = mean[:, seen]
    has_amps = (amps != UNKNOWN).astype(np.int64)
    has_heat = (celsius != UNKNOWN).astype(np.int64)
    highest = np.where(has_amps, amps, -UNKNOWN)
    columns = [np.ones(len(volts), np.int64), volts, has_amps, amps * has_amps, amps, highest]
    table.fold(minutes.minute[seen], [*columns, has_heat, celsius * has_heat])


def _assemble(facts: Facts, span: RestSpan, fit: Fit | None) -> Rest:
    hours = span.ended_h - span.began_h
    recent = span.volts[span.hours > span.hours[-1] - LAST_MINUTES_H][-LAST_BINS:]
    rest = Rest(volts=float(np.median(recent)))
    words = [_spell(span, hours)]
    if fit is None:
        rest.settled = False if hours < PROVISIONAL_H else None
        words.append("Too few quiet minutes for a fit.")
        rest.basis = " ".join(words)
        return rest

    rest.settled = _settled(fit, hours, facts.scale)
    correction = _sag_v(facts, span)
    unseen = UNSEEN_TEMPERATURE_V * facts.scale if span.celsius is None else 0.0
    half = float(np.hypot(fit.ocv_half_v, unseen)) + correction
    rest.ocv_volts = fit.ocv_v + correction
    rest.ocv_low, rest.ocv_high = rest.ocv_volts - half, rest.ocv_volts + half
    if correction:
        words.append(f"OCV includes {correction * 1e3:.0f} mV for the drain of {span.drain_a:.2f} A.")
    slope_half = float(np.hypot(fit.slope_half_v_per_h, unseen / max(hours, 1.0)))
    if hours >= PROVISIONAL_H and slope_half <= max(DECAY_SHOWN_V_PER_H * facts.scale, abs(fit.slope_v_per_h) / 2):
        rest.decay_mv_per_h = fit.slope_v_per_h * 1e3
        words.append(f"Decay {rest.decay_mv_per_h:.1f} ± {slope_half * 1e3:.1f} mV/h, without relaxation.")
    else:
        words.append("Decay cannot be told from relaxation and temperature in a rest this short.")

    if rest.settled:
        words.append("Settled, good." if hours >= GOOD_H else "Settled, provisional: better after 12 h.")
        charge = state_of_charge(facts.kind, rest.ocv_volts, rest.ocv_low, rest.ocv_high, facts.scale)
        rest.state_of_charge = charge.value
        rest.state_of_charge_low, rest.state_of_charge_high = charge.low, charge.high
        words.append(f"State of charge: {charge.basis}.")
    else:
        words.append("Not settled, so no state of charge.")
    change = _celsius_change(span)
    if change is not None and change >= TEMPERATURE_SAID_K:
        doubt = change * PRIOR_TEMPERATURE_V_PER_K * facts.scale * 1e3
        words.append(f"Temperature changed by {change:.0f} °C, which may move the volts by {doubt:.0f} mV.")
    if span.drain_a is None:
        words.append(_floor(facts, slope_half))
    rest.basis = " ".join(words)
    return rest


def _settled(fit: Fit, hours: float, scale: float) -> bool:
    """Whether the relaxation left is below the limit: by its own interval, or because the whole slope is."""
    if hours < PROVISIONAL_H:
        return False
    limit = SETTLED_V_PER_H * scale
    whole = fit.drift_v_per_h - fit.slope_v_per_h
    surely = abs(fit.drift_v_per_h) + fit.drift_half_v_per_h < limit
    return surely or (abs(fit.drift_v_per_h) < limit and abs(whole) < limit)


def _sag_v(facts: Facts, span: RestSpan) -> float:
    """Voltage lost inside the battery to the sleep current, V; 0 where negligible or unknown."""
    if span.drain_a is None or span.drain_a <= 0:
        return 0.0
    sag = span.drain_a * BATTERY_OHM_AH / (facts.capacity_ah or ASSUMED_AH) * facts.scale
    return sag if sag > NEGLIGIBLE_V * facts.scale else 0.0


def _spell(span: RestSpan, hours: float) -> str:
    follows = {
        "drive": "after the drive",
        "charge": "after a charge during the stand",
        "load": "after a heavy load during the stand",
        "unseen": "after an unobserved rise",
    }[span.after]
    source = "volts alone" if span.drain_a is None else f"volts of minutes with about {span.drain_a * 1e3:.0f} mA drain"
    return f"{hours:.1f} h of rest {follows}, from {source}."


def _celsius_change(span: RestSpan) -> float | None:
    return None if span.celsius is None else float(span.celsius.max() - span.celsius.min())


def _floor(facts: Facts, slope_half_v_per_h: float) -> str:
    """What drain this rest could have shown from volts alone: twice the doubt of the slope, over what a drain makes.

    A drain of I on C ampere-hours lowers a lead-acid battery by 760 mV × I / C an hour (BCI table, 7.6 mV per 1 %).
    """
    if facts.kind == "lifepo4":
        return "From volts alone no drain can be seen on a LiFePO4 battery."
    capacity = facts.capacity_ah or ASSUMED_AH
    drain = 2 * slope_half_v_per_h / facts.scale * capacity / SLOPE_V_PER_FULL
    shown = f"{drain * 1e3:.0f} mA" if drain < 1 else f"{drain:.1f} A"
    assumed = "" if facts.capacity_ah else f" (capacity not known, {ASSUMED_AH:.0f} Ah assumed)"
    return f"From volts alone, this stand could have shown a drain of about {shown} or more{assumed}; none smaller."
