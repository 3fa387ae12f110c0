"""One stand: what its detectors found, as the result document says it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monitor.base.fields import Span
from monitor.base.results import Crank, Stand, WakeUp
from monitor.base.samples import SECOND_US, Seconds
from monitor.detect.facts import Facts
from monitor.detect.loads import LoadSteps
from monitor.detect.plateaus import KEPT_EXCURSIONS, Excursion, PlateauTracker
from monitor.detect.rest import RestDetector, SleepView
from monitor.detect.rows import CHARGE_A, FLOAT_A, FLOAT_V
from monitor.detect.sleep import Asleep, asleep
from monitor.detect.texture import FLOOR_A, SPIKE_MOST_A
from monitor.detect.wakeups import is_pulse, least_ah, wake_up

AH_PER_NC = 1e-9 / 3600.0
SEEN_S = 10  # a stand that begins with the log and is settled by then was asleep before
CHARGE_PAUSE_S, CHARGE_LEAST_S = 600, 60  # a charger's pause; the least that is told as a charge
CHARGE_ALONE_V = 13.6  # volts alone: what no battery holds by itself
SHUTDOWN_TIMES, SHUTDOWN_OVER_A = 2.0, 0.05  # on a plateau so far above sleep, an excursion is the shutdown's own
PULSE_AH = 0.09 / 3600  # a pulse of less is a receiver's: those draw up to 80 mA, a logger holds one for a second
POLLING_MANY, POLLING_ALIKE = 3, 0.2  # so many pulses of a stand, alike within this share, are a receiver's; our choice
APPROACH_S, APPROACH_A = 60, 1.0  # so much so soon before the crank is the driver arriving: doors, lamps, glow plugs
ARRIVAL_S, KEY_ON_S = 300, 15  # awake for no longer than this, until so soon before the crank: the driver again
KEPT_CHARGES, KEPT_FAILED, KEPT_TRIED = 500, 500, 20


@dataclass(slots=True)
class StandState:
    """Counters and findings so far.

    levels_a, pulse   the level under a wake-up, if it is a pulse
    tried_us          the last failed starts
    """

    start_us: int
    seen: bool
    amps: bool = False
    in_nc: int = 0
    out_nc: int = 0
    gap_us: int = 0
    last_s: int | None = None
    wake_ups: list[WakeUp] = field(default_factory=list)
    levels_a: list[float] = field(default_factory=list)
    pulse: list[bool] = field(default_factory=list)
    uncounted: int = 0
    failed: list[Crank] = field(default_factory=list)
    tried_us: list[int] = field(default_factory=list)
    charges: list[tuple[int, int]] = field(default_factory=list)


class StandTracker:
    """Hands the seconds of a stand to its detectors and puts their answers together."""

    def __init__(self, facts: Facts, start_us: int, seen: bool) -> None:
        self.facts = facts
        self.state = StandState(start_us, seen)
        self.plateaus = PlateauTracker(facts.scale)
        self.rest = RestDetector(facts, start_us)
        self.loads = LoadSteps()

    def update(self, seconds: Seconds) -> None:
        """The next seconds of the stand."""
        state = self.state
        if not len(seconds):
            return
        state.in_nc += int(seconds.in_nc.sum())
        state.out_nc += int(seconds.out_nc.sum())
        state.gap_us += int(seconds.gap_us.sum())
        state.amps = state.amps or bool((np.isfinite(seconds.amps) & (seconds.observed_us > 0)).any())
        state.last_s = int(seconds.second[-1])
        self._charges(seconds)
        self.rest.update(seconds)
        self.loads.update(seconds)
        self._book(self.plateaus.update(seconds))

    def failed_start(self, crank: Crank) -> None:
        """A crank that did not start the engine."""
        if len(self.state.failed) < KEPT_FAILED:
            self.state.failed.append(crank)
        self.state.tried_us = [*self.state.tried_us, crank.start][-KEPT_TRIED:]

    def flush(self) -> None:
        """No more seconds will come: read the unfinished frame."""
        self._book(self.plateaus.flush())

    def counted(self, sleep: Asleep) -> list[WakeUp]:
        """The wake-ups so far; `sleep` is that of this stand."""
        return self._wake_ups(sleep, None)

    def result(self, end_us: int, is_open: bool) -> Stand:
        """The stand as known now; call `flush` first if it has ended."""
        state = self.state
        sleep = asleep(self.plateaus.state, self.facts)
        settled_us = None if sleep.settled_s is None else max(sleep.settled_s * SECOND_US, state.start_us)
        to_sleep_s = None if settled_us is None else (settled_us - state.start_us) / SECOND_US
        if to_sleep_s is not None and not state.seen and to_sleep_s <= SEEN_S:
            to_sleep_s = None
        return Stand(
            start=state.start_us,
            end=None if is_open else end_us,
            open=is_open,
            settled_at=settled_us,
            time_to_sleep_s=to_sleep_s,
            sleep_current_a=sleep.current_a,
            sleep_current_low_a=sleep.low_a,
            sleep_current_high_a=sleep.high_a,
            plateaus=sleep.plateaus,
            level_steps=sleep.steps,
            wake_ups=self._wake_ups(sleep, None if is_open else end_us),
            wake_ups_uncounted=state.uncounted,
            charges=[Span(start=a * SECOND_US, end=b * SECOND_US) for a, b in state.charges if b - a >= CHARGE_LEAST_S],
            charge_in_ah=state.in_nc * AH_PER_NC if state.amps else None,
            charge_out_ah=state.out_nc * AH_PER_NC if state.amps else None,
            unobserved_s=state.gap_us / SECOND_US,
            rest=self.rest.result(SleepView(settled_us, sleep.current_a, end_us)),
            failed_starts=state.failed,
            load_steps=self.loads.state.steps,
        )

    def _wake_ups(self, sleep: Asleep, crank_us: int | None) -> list[WakeUp]:
        """Without those of the shutdown itself (before settling, far above sleep) and of the driver's arrival."""
        state = self.state
        if sleep.settled_s is None or sleep.current_a is None:
            return []
        alike = self._are_polling()
        most = SHUTDOWN_TIMES * sleep.current_a + SHUTDOWN_OVER_A
        return [
            wake
            for wake, level_a, pulse in zip(state.wake_ups, state.levels_a, state.pulse, strict=True)
            if not (pulse and (alike or wake.charge_ah < PULSE_AH))
            and (wake.start >= sleep.settled_s * SECOND_US or level_a <= most)
            and not (crank_us is not None and self._arrives(wake, crank_us))
        ]

    def _arrives(self, wake: WakeUp, end_us: int) -> bool:
        """Whether it is the driver arriving: awake until the crank, or much drawn just before it."""
        lasts = wake.end >= end_us - KEY_ON_S * SECOND_US and wake.start >= end_us - ARRIVAL_S * SECOND_US
        return lasts or (wake.start >= end_us - APPROACH_S * SECOND_US and wake.peak_a >= APPROACH_A)

    def _are_polling(self) -> bool:
        """Whether the pulses of this stand are a receiver's, caught now and then: many, and all alike."""
        state = self.state
        sizes = [w.peak_a - a for w, a, pulse in zip(state.wake_ups, state.levels_a, state.pulse, strict=True) if pulse]
        if len(sizes) < POLLING_MANY:
            return False
        middle = float(np.median(sizes))
        alike = float(np.median(np.abs(np.array(sizes) - middle))) < POLLING_ALIKE * middle
        return alike and middle <= SPIKE_MOST_A

    def _book(self, ended: list[Excursion]) -> None:
        state = self.state
        for excursion in ended:
            wake = wake_up(excursion)
            if wake.excess_a < FLOOR_A or wake.charge_ah < least_ah(excursion):
                continue
            if any(wake.start - SECOND_US <= at <= wake.end for at in state.tried_us):
                continue  # who tries to start it has woken it
            if len(state.wake_ups) < KEPT_EXCURSIONS:
                state.wake_ups.append(wake)
                state.levels_a.append(excursion.level_a)
                state.pulse.append(is_pulse(excursion, wake))
            else:
                state.uncounted += 1

    def _charges(self, seconds: Seconds) -> None:
        """Spans in which a source charges the battery, pauses bridged."""
        charges = self.state.charges
        scale = self.facts.scale
        alone = np.isnan(seconds.amps) & (seconds.volts >= CHARGE_ALONE_V * scale)
        floats = (seconds.volts >= FLOAT_V * scale) & (seconds.amps >= FLOAT_A)
        second = seconds.second[(seconds.amps >= CHARGE_A) | floats | alone]
        if not len(second):
            return
        for part in np.split(second, np.flatnonzero(np.diff(second) > CHARGE_PAUSE_S) + 1):
            begin, end = int(part[0]), int(part[-1]) + 1
            if charges and begin - charges[-1][1] <= CHARGE_PAUSE_S:
                charges[-1] = (charges[-1][0], end)
            elif len(charges) < KEPT_CHARGES:
                charges.append((begin, end))
