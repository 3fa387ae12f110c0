"""Whether the sign of the current is plainly reversed.

A log with + for discharge shows the impossible: charge while standing below any charging voltage, discharge while
regulated near 14 V, a starter that charges the battery. Nothing is flipped: it is said, with the setting that mends
it. Warm-up: MINUTE seconds of evidence, or one crank. Levels: our choice, well inside the trade's ranges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.base.results import Notice
from monitor.base.samples import Seconds
from monitor.detect.facts import Facts

REGULATED_V = 13.8  # a running alternator charges here
STANDING_V = 12.9  # nothing charges a battery here for long
REGULATED_A, STANDING_A, CRANK_A, CRANK_V = 0.5, 0.004, 50.0, 11.95
MINUTE, HOUR = 60, 3600
ODDS = 20  # so many times more seconds for reversed than against

TEXT = (
    "the current looks reversed ({why}); figures of charge and drain below are not to be trusted. "
    "Nothing was flipped: if the logger writes discharge as positive, say so"
)
SETTING = 'amps = { positive = "discharge" } under [log] in the vehicle file, or --current-sign reversed'


@dataclass(slots=True)
class SignState:
    """Seconds that speak for the sign as logged (`plain`) and for the reverse, by situation."""

    regulated_plain: int = 0
    regulated_reversed: int = 0
    standing_plain: int = 0
    standing_reversed: int = 0
    crank_plain: int = 0
    crank_reversed: int = 0


class SignCheck:
    """Counts evidence over the whole log; integers, so the cut does not matter."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.state = SignState()

    def update(self, seconds: Seconds) -> None:
        """Add the evidence of these seconds."""
        state, scale = self.state, self.facts.scale
        amps, volts = seconds.amps, seconds.volts
        high, low = volts >= REGULATED_V * scale, volts <= STANDING_V * scale
        state.regulated_plain += int(np.count_nonzero(high & (amps > REGULATED_A)))
        state.regulated_reversed += int(np.count_nonzero(high & (amps < -REGULATED_A)))
        state.standing_plain += int(np.count_nonzero(low & (amps < -STANDING_A)))
        state.standing_reversed += int(np.count_nonzero(low & (amps > STANDING_A)))
        dip = seconds.volts_min <= CRANK_V * scale
        if dip.any():
            state.crank_plain += int(np.count_nonzero(dip & (seconds.amps_min < -CRANK_A)))
            state.crank_reversed += int(np.count_nonzero(dip & (seconds.amps_max > CRANK_A)))

    def notices(self) -> list[Notice]:
        """One notice when the sign is plainly reversed, else none."""
        s = self.state
        why = []
        if s.crank_reversed > ODDS * s.crank_plain:
            why.append("the starter seems to charge the battery")
        if s.regulated_reversed >= MINUTE and s.regulated_reversed > ODDS * s.regulated_plain:
            why.append("discharge while the volts are regulated near 14 V")
        if s.standing_reversed >= HOUR and s.standing_reversed > ODDS * s.standing_plain:
            why.append("charge while the vehicle stands")
        against = s.crank_plain + s.regulated_plain // MINUTE
        if not why or (len(why) == 1 and against > 0):
            return []
        return [Notice(kind="current_sign", text=TEXT.format(why="; ".join(why)), setting=SETTING)]
