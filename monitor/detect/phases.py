"""Phases: which seconds belong to a stand, which to a drive, which to a stop inside a drive.

No single level tells a running engine: an engine-managed alternator holds 12.5–13.1 V for minutes with hardly any
battery current, a rested battery under a charger shows more than that. So only transitions decide, and only when they
are certain: seconds wait in a delay line until their phase is known, and what is told is never taken back.

- A drive begins with a crank after which the volts rise or the battery carries less than before (or, for a minute, the
  loads of a running engine: started, not charging). A sure crank with none of that is a failed start, one that is not
  sure some other heavy load.
- A drive without a crank begins where the volts jump by JUMP_V out of a key-on load (push start), or, on a logger too
  slow to see a crank, anywhere. A slower rise while standing is a battery charger: charge within the stand.
- An engine has stopped when nothing speaks for running for MANAGED_S, or when a crank follows: in hindsight, at the
  step by which the battery took over (`find_stop`). Volts or current that come back without a crank prove it ran on.
- Stopped and cranked again within STALL_S is one drive, whoever did it; so is a longer stop while the loads of a
  running vehicle (AUTO_STOP_A) stay on the battery, up to AUTO_STOP_S: a stop-start system's stop.

Warm-up: three seconds with data. A gap decides nothing: the times on both sides of it do.
Method: our own; the levels are those of the trade (see the constants).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from monitor.base.results import Crank
from monitor.base.samples import SECOND_US, Indexes, Seconds
from monitor.detect.cranks import GLOW_S, Found
from monitor.detect.evidence import CHARGED_V, JUMP_S, Evidence
from monitor.detect.facts import Facts
from monitor.detect.known import least_of, median_of
from monitor.detect.stopping import KEPT_A, StopFound, find_stop, is_calm, is_loaded, is_restless

MANAGED_S = 1200  # the longest an engine-managed system is trusted to show no sign of running; our choice
END_S = 20  # so long without proof before the log ends, a shutdown under way is believed
UNSURE_STOP_S = 5  # a shorter burst of load that ends in a peak is no stop, if the peak may be no starter
STOP_LEAST_S = 2  # a crank so soon behind the loads' step onto the battery is none
STOP_DRAIN_A = 1.0  # the battery carries all loads of a stopped vehicle that is held ready
STALL_S = 60  # stopped and restarted within this: one drive; our choice
AUTO_STOP_S = 300  # the longest stop of a stop-start system; our choice: the battery is asked for 10–40 A meanwhile
AUTO_STOP_A = 4.0  # loads of a vehicle held ready to restart; less means the key is off
AUTO_STOP_VOLTS_ONLY_S = 180  # volts alone cannot tell the two apart; our choice
CARRIED_S = 8  # seconds behind a crank in which an alternator is seen to carry the loads
OUTCOME_S = 60  # time in which a crank must show a running engine, or be followed by another
KEY_LEFT_S = 300  # …or, where the loads of one stay on, this: who cannot start tries again or turns the key; our choice
STARTER_TIMES = 1.25  # a starter draws so many times what the glow plugs before it drew at first; our choice
CHARGE_PAUSE_S = 600  # a charger's pause, not its end
TAIL = 12  # seconds kept behind the delay line to look back at


@dataclass(frozen=True, slots=True)
class Begin:
    """A stand or drive begins at an instant (µs); `seen` is False for the first one, which began before the log."""

    what: Literal["stand", "drive"]
    at_us: int
    crank: Crank | None = None
    seen: bool = True
    ran_us: int | None = None

    @property
    def runs_us(self) -> int:
        """When the engine runs by itself: the end of the crank, else the beginning."""
        return self.at_us if self.ran_us is None else self.ran_us


@dataclass(frozen=True, slots=True)
class Take:
    """Seconds of the stand or drive that has begun; `running` is False in a stop inside a drive."""

    seconds: Seconds
    running: bool


@dataclass(frozen=True, slots=True)
class FailedStart:
    """A crank inside the stand."""

    crank: Crank


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop inside a drive, µs."""

    start_us: int
    end_us: int


Event = Begin | Take | FailedStart | Stop


@dataclass(slots=True)
class PhaseState:
    """Where the machine stands, and the seconds whose phase is not yet certain.

    mode     start: nothing known; stand; cranked: waiting for the outcome of `crank`; drive
    held     seconds waiting; `tail` the last TAIL told ones
    cranks   known, not yet consumed
    ran_s    drive: the last second that proves a running engine; stand: the last second of charge
    charged  drive: the charging system was seen at work
    """

    mode: Literal["start", "stand", "cranked", "drive"] = "start"
    held: Seconds = field(default_factory=lambda: Seconds.join([]))
    tail: Seconds = field(default_factory=lambda: Seconds.join([]))
    cranks: list[Found] = field(default_factory=list)
    crank: Found | None = None
    ran_s: int = 0
    charged: bool = False


class Phases:
    """The phase machine: seconds and cranks in, events in order of time out."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.evidence = Evidence(facts)
        self.state = PhaseState()

    def update(self, seconds: Seconds, cranks: list[Found], undecided_s: int | None) -> list[Event]:
        """Events that are now certain; from `undecided_s` on, a crank may still be found (None: all is decided)."""
        state = self.state
        state.held = Seconds.join([state.held, seconds]) if len(seconds) else state.held
        state.cranks += cranks
        known = len(state.held) if undecided_s is None else int(np.searchsorted(state.held.second, undecided_s))
        return self._advance(known, final=False)

    def flush(self) -> list[Event]:
        """What the log's end leaves undecided, decided with what is there."""
        return self._advance(len(self.state.held), final=True)

    def _advance(self, known: int, final: bool) -> list[Event]:
        events: list[Event] = []
        step = {"start": self._start, "stand": self._stand, "cranked": self._cranked, "drive": self._drive}
        while True:
            used = step[self.state.mode](events, known, final)
            if used is None:
                return events
            known -= used

    def _start(self, events: list[Event], known: int, final: bool) -> int | None:
        if known < 3 and not (final and known):
            return None
        first = int(self.state.held.second[0])
        running = bool(self.evidence.runs(self.state.held[:3]).any())  # a start within three samples is no stand
        self.state.mode = "drive" if running else "stand"
        self.state.ran_s, self.state.charged = first if running else first - CHARGE_PAUSE_S, running
        events.append(Begin(self.state.mode, first * SECOND_US, seen=False))
        return 0

    def _stand(self, events: list[Event], known: int, final: bool) -> int | None:
        """Tell seconds up to the next crank or start; None when all that is known has been told."""
        state = self.state
        held = state.held
        crank = state.cranks[0] if state.cranks else None
        end = known if crank is None else min(known, _row(held, crank.start_us))
        runs = np.flatnonzero(self.evidence.runs(held[:end]))
        if len(runs) and int(held.second[runs[0]]) - state.ran_s >= CHARGE_PAUSE_S:
            row = int(runs[0])
            if known - row < JUMP_S and not final and crank is None:
                self._tell(events, row, running=False)
                return None
            if self.evidence.is_start(self._lead(row), held[row : min(row + JUMP_S, known)]):
                self._tell(events, row, running=False)
                state.mode, state.ran_s, state.charged = "drive", int(held.second[row]), True
                events.append(Begin("drive", int(held.second[row]) * SECOND_US))
                self._tell(events, 1, running=True)
                return row + 1
        if len(runs):
            state.ran_s = int(held.second[runs[-1]])
            if len(runs) > 1 and (np.diff(held.second[runs]) >= CHARGE_PAUSE_S).any():
                last = int(np.flatnonzero(np.diff(held.second[runs]) >= CHARGE_PAUSE_S)[0])
                state.ran_s = int(held.second[runs[last]])
                end = int(runs[last]) + 1
                self._tell(events, end, running=False)
                return end
        self._tell(events, end, running=False)
        if crank is None:
            return None
        state.mode, state.crank = "cranked", state.cranks.pop(0)
        return end

    def _cranked(self, events: list[Event], known: int, final: bool) -> int | None:
        """Decide whether the crank started the engine."""
        state = self.state
        held, crank = state.held, state.crank
        assert crank is not None
        following = state.cranks[0] if state.cranks else None
        after = _row(held, crank.end_us + SECOND_US)
        end = _row(held, crank.end_us + OUTCOME_S * SECOND_US)
        limit = min(known, end if following is None else min(end, _row(held, following.start_us)))
        load_a, evidence = self._load_before(crank.lead_us), self.evidence
        behind = held[after : max(limit, after)]
        charged = evidence.charged(behind)
        glow = following is not None and self._is_glow(crank, following, load_a)
        if charged:
            started = True
        elif following is not None and following.start_us <= crank.end_us + OUTCOME_S * SECOND_US:
            own = not len(behind) or evidence.is_uncharged(crank, load_a, behind)
            own = own or (not following.heavy and evidence.may_run(crank, behind))
            if own and not following.sure and not glow:
                state.cranks.pop(0)  # some heavy load of the engine that runs, or the crank's own end
                return 0
            started = False
        elif known > end or final:
            started = evidence.started(crank, load_a, behind)
            if not started and evidence.may_run(crank, behind):
                asked, decided = (
                    _row(held, crank.end_us + s * SECOND_US) for s in (KEY_LEFT_S - OUTCOME_S, KEY_LEFT_S)
                )
                if known <= decided and not final and following is None:
                    return None
                started = following is None and known > decided and evidence.may_run(crank, held[asked:decided])
        else:
            return None
        state.crank = None
        end_row = _row(held, crank.end_us)
        later = evidence.started_later(crank, load_a, held[end_row : max(limit, end_row)]) if charged else None
        if later is not None:  # between two samples: what was seen were glow plugs, or a start that failed
            if crank.sure:
                events.append(FailedStart(crank.crank))
            state.mode, state.charged, state.ran_s = "drive", True, int(held.second[end_row + later])
            self._tell(events, end_row + later, running=False)
            events.append(Begin("drive", state.ran_s * SECOND_US))
            return end_row + later
        if started:
            state.mode, state.charged, state.ran_s = "drive", charged, crank.end_us // SECOND_US
            events.append(Begin("drive", crank.start_us, crank.crank, ran_us=crank.end_us))
            told = min(_row(held, crank.end_us) + 1, after, len(held))
            self._tell(events, told, running=False)
            return told
        state.mode = "stand"
        state.ran_s = int(crank.start_us // SECOND_US) - CHARGE_PAUSE_S
        if crank.sure and not glow:
            events.append(FailedStart(crank.crank))
        return 0

    def _is_glow(self, crank: Found, following: Found, load_a: float | None) -> bool:
        """Whether the first of two heavy loads were glow plugs, and the next the starter: more, or after a pause.

        What looks like a starter is one all the same, unless another that is stronger follows at once.
        """
        if crank.end_us - crank.start_us < GLOW_S * SECOND_US:
            return False
        first, then = crank.crank.amps_peak, following.crank.amps_peak
        stronger = first is not None and then is not None and then < STARTER_TIMES * first
        if crank.sure or stronger:
            return stronger and (not crank.sure or following.start_us - crank.end_us <= GLOW_S * SECOND_US)
        between = self.state.held[_row(self.state.held, crank.end_us) : _row(self.state.held, following.start_us)]
        drain = least_of(-between.amps)
        return drain is not None and drain < self.evidence.uncharged_a(load_a)

    def _drive(self, events: list[Event], known: int, final: bool) -> int | None:
        """Tell seconds up to the last proof of running; decide a stop when one is certain."""
        state = self.state
        held = state.held
        crank = state.cranks[0] if state.cranks else None
        before_crank = known if crank is None else min(known, _row(held, crank.start_us))
        fresh = int(np.searchsorted(held.second, state.ran_s, "right"))
        runs = fresh + np.flatnonzero(self.evidence.proves(held[fresh:before_crank]))
        proof = self._proof(runs)
        if proof is not None:
            state.ran_s, state.charged = int(held.second[proof]), True
            self._tell(events, proof + 1, running=True)
            return proof + 1
        deadline = int(np.searchsorted(held.second, state.ran_s + MANAGED_S))
        if len(runs) and int(runs[0]) < deadline:  # proof that comes back after a calm night's beginning: a charger
            return self._stopped(events, int(runs[0]))
        if deadline < before_crank:
            if not self._runs_on(deadline):
                return self._stopped(events, deadline)
            state.ran_s = int(held.second[deadline - 1])
            self._tell(events, deadline, running=True)
            return deadline
        if crank is not None and known > before_crank:
            return self._cranked_again(events, before_crank, known, final)
        if not final or not known:
            return None
        quiet_s = int(held.second[known - 1]) - state.ran_s
        stop = self._find_stop(known) if quiet_s >= END_S else None
        if stop is not None and stop.certain:
            return self._stopped(events, known)
        self._tell(events, known, running=True)
        return None

    def _runs_on(self, rows: int) -> bool:
        """Whether the engine runs on without proof: its loads on the battery, or a battery that is kept charged."""
        held = self.state.held[:rows]
        if not self.state.charged and is_loaded(held, self.facts):
            return is_restless(held.amps[-TAIL:]) or not self._find_stop(rows).stepped  # lamps may be left on
        amps, volts = median_of(held.amps), median_of(held.volts[-TAIL:])
        kept = (amps is not None and amps >= KEPT_A) or (volts is not None and volts >= CHARGED_V * self.facts.scale)
        return kept and not self._find_stop(rows).stepped

    def _proof(self, runs: Indexes) -> int | None:
        """The last held row up to which the engine is proved to have run through; None: none is."""
        state = self.state
        if not len(runs):
            return None
        times = np.concatenate([[state.ran_s], state.held.second[runs]])
        for at in np.flatnonzero(np.diff(times) > STALL_S):
            start = int(runs[at - 1]) + 1 if at else int(np.searchsorted(state.held.second, state.ran_s, "right"))
            if times[at + 1] - times[at] >= MANAGED_S or self._rested(start, int(runs[at])):
                return int(runs[at - 1]) if at else None
        return int(runs[-1])

    def _rested(self, start: int, end: int) -> bool:
        """Whether the vehicle stood between two proofs of charge: a charger was connected meanwhile."""
        return is_calm(self._lead(start)[-JUMP_S:], self.state.held[start:end], self.facts)

    def _cranked_again(self, events: list[Event], row: int, known: int, final: bool) -> int | None:
        """A crank while driving: the engine had stopped, within the drive or for good."""
        state = self.state
        crank = state.cranks[0]
        after = _row(state.held, crank.end_us + SECOND_US)
        soon = _row(state.held, crank.end_us + (1 + CARRIED_S) * SECOND_US)
        if known <= soon and not final:
            return None
        stop = self._find_stop(row)
        stop_us = self._stop_us(stop.row)
        length_s = (crank.start_us - stop_us) / SECOND_US
        load_a = self._load_before(crank.start_us)
        carried = (
            self.evidence.carried(crank, load_a, state.held[after : min(soon, known)])
            and (load_a or 0.0) >= AUTO_STOP_A
        )
        stood = -state.held.amps[stop.row : row]
        still = len(stood) > 0 and bool(np.nanmin(stood, initial=np.inf) >= STOP_DRAIN_A)  # never charged meanwhile
        seen = crank.sure or (carried and still and length_s >= UNSURE_STOP_S and crank.may_be_blurred)
        if length_s >= AUTO_STOP_S and not seen and self._rested(stop.row, row):
            return self._stopped(events, row)  # parked meanwhile: what it was, what follows will tell
        if length_s < STOP_LEAST_S or not seen:
            state.cranks.pop(0)  # some heavy load of a running vehicle
            return 0
        ready = stop.drain_at_end_a
        inside = length_s < (STALL_S if ready is not None and ready < AUTO_STOP_A else AUTO_STOP_S)
        if ready is None:
            inside = length_s < AUTO_STOP_VOLTS_ONLY_S
        if not inside:
            return self._stopped(events, row)
        self._tell(events, stop.row, running=True)
        self._tell(events, row - stop.row, running=False)
        events.append(Stop(stop_us, crank.start_us))
        state.cranks.pop(0)
        state.ran_s = crank.end_us // SECOND_US
        behind = min(_row(state.held, crank.end_us), len(state.held))
        self._tell(events, behind, running=False)
        return row + behind

    def _stopped(self, events: list[Event], rows: int) -> int:
        """The engine stopped somewhere in the first `rows` seconds held: the stand begins there."""
        state = self.state
        stop = self._find_stop(rows)
        at_us = self._stop_us(stop.row)
        self._tell(events, stop.row, running=True)
        state.mode, state.ran_s = "stand", int(at_us // SECOND_US) - CHARGE_PAUSE_S
        events.append(Begin("stand", at_us))
        return stop.row

    def _stop_us(self, row: int) -> int:
        """The instant before the given held row: the end of the last second of the drive."""
        held, tail = self.state.held, self.state.tail
        if row > 0:
            return (int(held.second[row - 1]) + 1) * SECOND_US
        if len(tail):
            return (int(tail.second[-1]) + 1) * SECOND_US
        return int(held.second[0]) * SECOND_US

    def _find_stop(self, rows: int) -> StopFound:
        held = self.state.held
        proved = int(np.searchsorted(held.second, self.state.ran_s, "right"))
        return find_stop(self.state.tail, held[:rows], min(proved, max(rows - 1, 0)), self.state.charged, self.facts)

    def _tell(self, events: list[Event], rows: int, running: bool) -> None:
        state = self.state
        if rows <= 0:
            return
        told = state.held[:rows]
        events.append(Take(told, running))
        state.held = state.held[rows:]
        state.tail = told[-TAIL:] if rows >= TAIL else Seconds.join([state.tail, told])[-TAIL:]

    def _lead(self, row: int) -> Seconds:
        """The last seconds before the given held one."""
        return Seconds.join([self.state.tail, self.state.held[:row]])[-TAIL:]

    def _load_before(self, at_us: int) -> float | None:
        lead = self._lead(_row(self.state.held, at_us))
        lead = lead[: int(np.searchsorted(lead.second, at_us // SECOND_US))]  # what was told may reach further
        return least_of(-lead.amps[-2:])  # glow plugs may have drawn more a second before


def _row(seconds: Seconds, at_us: int) -> int:
    """Index of the second that holds the instant, or of the first one after it."""
    return int(np.searchsorted(seconds.second, at_us // SECOND_US))
