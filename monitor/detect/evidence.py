"""What speaks for a running engine: levels, cranks that were followed by something, jumps without a crank.

Real vehicles are not "running above 13.2 V", so these are pieces of evidence; the phases weigh them in time.
"""

from __future__ import annotations

import numpy as np

from monitor.base.samples import Bools, Seconds
from monitor.detect.cranks import Found
from monitor.detect.facts import Facts
from monitor.detect.known import least_of, median_of, most_of
from monitor.detect.stopping import is_restless, wanders

CHARGED_V, STOPPED_A = 13.6, -1.0  # no resting battery holds this for long; it discharges when the engine stops
RUN_CHARGED_V, RUN_CHARGED_A = 13.35, 0.3  # a full battery under a regulated alternator
RUN_CHARGING_A = 1.5  # charge current, at whatever volts: over a clamp's zero error; our choice
CHARGED_A = 0.8  # charge current in a drive, at whatever volts; our choice: over a clamp's zero error
RUN_VOLTS_ONLY_V = 13.15  # volts alone: regulated levels begin at 13.2 V (trade range 13.2–14.8), less half a step
RUN_LIFEPO4_V = 13.5  # LiFePO4 rests at 13.2–13.35 V
UNCHARGED_A = 8.0  # a running engine's own loads on the battery: ignition, injection, pump (common practice 10–40 A)
UNCHARGED_OVER_A = 3.0  # …and so much above the load before the crank
STEADY_ROWS, STEADY_A, STEADY_SHARE = 3, 0.3, 0.1  # seconds of a key that is on: so little changes; our choice
SOON_ROWS, UNCHARGED_TIMES = 6, 1.5  # an alternator begins so soon; its engine draws so much more; our choice
CARRIED_A = 2.0  # the load before the crank has gone from the battery: an alternator carries it
CHARGED_ROWS = 2  # seconds of charge behind a crank that no noise makes
RAISED_V = 0.3  # volts alone: so much above the volts before the crank, for a started engine
JUMP_V, JUMP_S = 0.7, 5  # a start without a crank in sight lifts the volts so much so fast; our choice
KEY_ON_A = 2.0  # a key-on vehicle draws 3–8 A before the start (common practice)
HELD_V = 12.8  # what an alternator lifts any battery to at once; our choice
SLOW_S = 2  # a logger slower than this may not see a crank


class Evidence:
    """Evidence for one vehicle; pure functions of the seconds given."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts

    def runs(self, seconds: Seconds) -> Bools:
        """Seconds that show a source of charge: in a drive a running engine, while standing perhaps a charger."""
        scale, volts, amps = self.facts.scale, seconds.volts, seconds.amps
        alone = RUN_LIFEPO4_V if self.facts.kind == "lifepo4" else RUN_VOLTS_ONLY_V
        by_amps = (
            ((volts >= CHARGED_V * scale) & (amps >= STOPPED_A))
            | ((volts >= RUN_CHARGED_V * scale) & (amps >= RUN_CHARGED_A))
            | (amps >= RUN_CHARGING_A)
        )
        return np.where(np.isnan(amps), volts >= alone * scale, by_amps)

    def proves(self, seconds: Seconds) -> Bools:
        """Seconds of a drive that prove a running engine: the battery is being charged (volts alone: it could be)."""
        charged = (seconds.amps >= CHARGED_A) | (
            (seconds.volts >= RUN_CHARGED_V * self.facts.scale) & (seconds.amps >= RUN_CHARGED_A)
        )
        return charged | (np.isnan(seconds.amps) & self.runs(seconds))

    def is_start(self, lead: Seconds, after: Seconds) -> bool:
        """Whether charge that begins with `after`, behind `lead`, is an engine whose crank was not seen."""
        if not len(lead) or not len(after):
            return False
        slow = int(after.second[0]) - int(lead.second[-1]) > SLOW_S
        recent = lead if slow else lead[int(np.searchsorted(lead.second, int(after.second[0]) - JUMP_S)) :]
        top, bottom = most_of(after.volts), least_of(recent.volts[-JUMP_S:])
        if top is None or bottom is None:
            return False
        load, charge = median_of(-recent.amps[-JUMP_S:]), most_of(after.amps)
        key_on = load is not None and load >= KEY_ON_A * self.facts.loads
        if top - bottom < JUMP_V * self.facts.scale:
            restless = is_restless(after.amps)  # a charger is steady
            return key_on and (restless or (slow and top > bottom))
        least = RUN_CHARGING_A * self.facts.loads
        held = top >= HELD_V * self.facts.scale  # an alternator holds volts, a charger holds amps
        return key_on or load is None or (slow and held and charge is not None and charge >= least)

    def charged(self, after: Seconds) -> bool:
        """Whether the battery was charged in these seconds, which no standing vehicle does."""
        rows = int(np.count_nonzero(after.amps >= RUN_CHARGED_A))
        slow = len(after) > 1 and int(after.second[-1] - after.second[0]) > SLOW_S * (len(after) - 1)
        return bool(self.runs(after).any()) or bool(rows >= (1 if slow else CHARGED_ROWS))

    def carried(self, crank: Found, load_a: float | None, after: Seconds) -> bool:
        """Whether the load before the crank has gone from the battery; with volts alone, whether they have risen."""
        drain, volts, before = median_of(-after.amps), median_of(after.volts), crank.crank.volts_before
        if drain is None:
            return volts is not None and before is not None and volts - before >= RAISED_V * self.facts.scale
        return load_a is not None and drain < load_a - CARRIED_A

    def started(self, crank: Found, load_a: float | None, after: Seconds) -> bool:
        """Whether an engine runs in the minute behind a crank, though nothing has charged the battery.

        A key that is turned off takes the load from the battery too, but calmly.
        """
        if self.is_uncharged(crank, load_a, after):
            return True
        if np.isnan(after.amps).all():
            return self.carried(crank, load_a, after)
        return is_restless(after.amps) and (crank.sure or self.carried(crank, load_a, after))

    def started_later(self, crank: Found, load_a: float | None, after: Seconds) -> int | None:
        """The second of `after` in which an engine that charges was started unseen; None: by this crank.

        After the load that was taken for a crank came the steady load of a key that is on, and behind that either what
        was on the battery before as well, or more: an engine's own loads, shortly before the first charge. Or the key's
        load was constant for longer than an engine that runs leaves it.
        """
        charged = np.flatnonzero(self.proves(after))
        drain = -after.amps[: int(charged[0])] if len(charged) else np.empty(0)
        if len(drain) < STEADY_ROWS or load_a is None:
            return None
        level = float(np.median(drain[: STEADY_ROWS - 1]))
        off = np.flatnonzero(~(np.abs(drain - level) <= max(STEADY_A, STEADY_SHARE * level)))
        steady = int(off[0]) if len(off) else len(drain)
        as_before = steady >= STEADY_ROWS and abs(level - load_a) <= max(STEADY_A, STEADY_SHARE * load_a)
        more = (
            STEADY_ROWS <= steady + 1 <= len(drain) <= steady + SOON_ROWS
            and drain[steady] >= UNCHARGED_TIMES * level + UNCHARGED_OVER_A
        )
        idle = steady > SOON_ROWS and level < self.uncharged_a(load_a)  # constant for longer than any start leaves it
        return steady - 1 if as_before or ((more or idle) and not crank.sure) else None

    def uncharged_a(self, load_a: float | None) -> float:
        """The least that a running engine draws from the battery, A, with `load_a` on it before the crank."""
        return max(UNCHARGED_A * self.facts.loads, (load_a or 0.0) + UNCHARGED_OVER_A * self.facts.loads)

    def may_run(self, crank: Found, after: Seconds) -> bool:
        """Whether loads as of a running engine are on the battery, if no more than before the crank."""
        drain = median_of(-after.amps)
        return crank.sure and drain is not None and drain >= UNCHARGED_A * self.facts.loads

    def is_uncharged(self, crank: Found, load_a: float | None, after: Seconds) -> bool:
        """Whether what follows a crank without charge is a running engine all the same: its loads on the battery."""
        drain = median_of(-after.amps)
        more = drain is not None and drain >= self.uncharged_a(load_a)
        return more and (crank.sure or (crank.heavy and wanders(after.amps)))
