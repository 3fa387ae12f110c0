"""One drive: its crank, what the charging system did, its stops and its charge."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monitor.base.fields import Span
from monitor.base.results import Crank, Drive
from monitor.base.samples import SECOND_US, Seconds
from monitor.detect.charging import ChargingDetector
from monitor.detect.facts import Facts

AH_PER_NC = 1e-9 / 3600.0
KEPT_STOPS = 1000


@dataclass(slots=True)
class DriveState:
    """Counters and stops of the drive so far; `runs_us`: the crank's end."""

    start_us: int
    crank: Crank | None
    runs_us: int
    amps: bool = False
    in_nc: int = 0
    out_nc: int = 0
    gap_us: int = 0
    stops: list[tuple[int, int]] = field(default_factory=list)


class DriveTracker:
    """Hands the seconds of a drive to the charging detector and counts its charge."""

    def __init__(self, facts: Facts, start_us: int, crank: Crank | None, runs_us: int) -> None:
        self.state = DriveState(start_us, crank, runs_us)
        before = None if crank is None else crank.volts_before
        self.charging = ChargingDetector(facts, runs_us, crank is not None, before)

    def update(self, seconds: Seconds, running: bool) -> None:
        """The next seconds; `running` is False in a stop inside the drive."""
        state = self.state
        if not len(seconds):
            return
        state.in_nc += int(seconds.in_nc.sum())
        state.out_nc += int(seconds.out_nc.sum())
        state.gap_us += int(seconds.gap_us.sum())
        state.amps = state.amps or bool((np.isfinite(seconds.amps) & (seconds.observed_us > 0)).any())
        self.charging.update(seconds, running)

    def stopped(self, start_us: int, end_us: int) -> None:
        """A stop inside the drive."""
        if len(self.state.stops) < KEPT_STOPS:
            self.state.stops.append((start_us, end_us))

    def result(self, end_us: int, is_open: bool) -> Drive:
        """The drive as known now."""
        state = self.state
        return Drive(
            start=state.start_us,
            end=None if is_open else end_us,
            open=is_open,
            crank=state.crank,
            charging=self.charging.result(),
            charge_in_ah=state.in_nc * AH_PER_NC if state.amps else None,
            charge_out_ah=state.out_nc * AH_PER_NC if state.amps else None,
            unobserved_s=state.gap_us / SECOND_US,
            stops=[Span(start=a, end=b) for a, b in state.stops],
        )
