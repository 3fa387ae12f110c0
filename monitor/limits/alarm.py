"""The alarm of one side of one limit: its states after ANSI/ISA-18.2 and IEC 62682, on data time alone.

Between two observations the last one holds. `take` says what is observed from an instant on, `advance` that time has
passed: together they say exactly when the on-delay ran out, however the time in between was cut. What is observed lies

    beyond    at or past the setpoint: raised once it was so for the on-delay (known time only)
    between   within the deadband: neither raises nor returns; a passage that was not raised yet is over
    clear     past the deadband: returns once it was so for the off-delay
    unknown   not observed, not applicable, or a mere lower bound: everything stays as it is. Unknown time does not
              count; more of it than the delay itself ends what waited for that delay, PAUSE_MOST_US of it where the
              quantity comes and goes: a delay of charging volts runs on in the next drive

A passage within a day of being told, no worse than before, is the same alarm: it counts (`passages`), and is not told
again. While unacknowledged it is told once a day. Shelved, suppressed and yielding alarms are followed but not told;
if one is still beyond when that ends, it is told then. Out of service nothing is followed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from monitor.base.alarms import Alarm, AlarmState, Transition
from monitor.base.samples import SECOND_US
from monitor.limits.quantities import QUANTITIES, Side
from monitor.limits.rules import Limit
from monitor.limits.telling import empty_alarm, raised_alarm

PAUSE_MOST_US = 7 * 86_400 * SECOND_US  # our choice: a vehicle that is used is driven once a week
DAY_US = 86_400 * SECOND_US  # an unchanged fault must not repeat more than daily (trade practice for one vehicle)
WORSE_TIMES = 1.5  # half again as far past the setpoint, and the deadband more, is a change and told at once…
WORSE_SHARE = 0.1  # …where there is no deadband, this share of the setpoint; our choice

Zone = Literal["beyond", "between", "clear", "unknown"]
What = Literal[
    "raised", "returned", "acknowledged", "shelved", "unshelved", "reminder", "cleared", "out_of_service", "in_service"
]


@dataclass(slots=True)
class AlarmMemory:
    """All that the alarm of one side remembers.

    at_us, zone, value, setpoint   time reached, and what is observed since
    since_us, worst, basis         of the passage that waits for its on-delay or is active
    known_us, clear_us, unknown_us time beyond while known, time clear, and unknown time since the last known
    active, alarm                  the condition is true; the alarm it raised
    told_us                        when it was last told; None: not yet
    resumed_us                     end of the last time that nobody observed
    shelved_us, hushed_us          until when; hushed without end: −1
    """

    at_us: int | None = None
    zone: Zone = "unknown"
    value: float | None = None
    setpoint: float = 0.0
    since_us: int | None = None
    worst: float = 0.0
    basis: str = ""
    known_us: int = 0
    clear_us: int = 0
    unknown_us: int = 0
    active: bool = False
    alarm: Alarm | None = None
    told_us: int | None = None
    resumed_us: int = 0
    shelved_us: int | None = None
    shelf: Alarm | None = None
    hushed_us: int | None = None
    yields: bool = False
    out_of_service: bool = False


class LimitAlarm:
    """Judges one side of one limit.

    >>> limit = Limit("hot", "volts", "V", 250.0, None, "high", "", "", "", deadband=10.0)
    >>> alarm = LimitAlarm(limit, "high")
    >>> [t.what for v in (249.0, 250.0, 241.0, 240.0) for t in alarm.take(0, v)]
    ['raised', 'returned']
    """

    def __init__(self, limit: Limit, side: Side) -> None:
        self.limit, self.side = limit, side
        self.is_event = QUANTITIES[limit.quantity].judged == "event"
        self.on_us = round(limit.on_delay_s * SECOND_US)
        self.off_us = round(limit.off_delay_s * SECOND_US)
        self.unknown_most_us = max(self.on_us, PAUSE_MOST_US if QUANTITIES[limit.quantity].pauses else 0)
        self.state = AlarmMemory()

    # what is observed

    def zone_of(self, value: float | None, at_least: bool = False, celsius: float | None = None) -> Zone:
        """Where a value lies; `at_least`: it still grows, so below the setpoint it says nothing."""
        limit = self.limit.setpoint(self.side, celsius)
        if value is None or value != value or limit is None:
            return "unknown"
        over = value - limit if self.side == "high" else limit - value
        if over >= 0:
            return "beyond"
        if at_least:
            return "unknown"
        high = self.side == "high"
        back = value <= limit - self.limit.deadband if high else value >= limit + self.limit.deadband
        return "clear" if back else "between"

    def take(
        self,
        t_us: int,
        value: float | None,
        at_least: bool = False,
        celsius: float | None = None,
        why: Callable[[], str] | None = None,
    ) -> list[Transition]:
        """`value` is observed from `t_us` on; `why` is asked, when a passage begins, what it rests on."""
        state = self.state
        told = self.advance(t_us)
        if state.out_of_service or state.hushed_us is not None:
            value = None
        state.zone, state.value = self.zone_of(value, at_least, celsius), value
        if state.zone == "beyond" and value is not None:
            state.setpoint = self.limit.setpoint(self.side, celsius) or 0.0
            state.clear_us = state.unknown_us = 0
            if state.since_us is None:
                state.since_us, state.known_us, state.worst = t_us, 0, value
                state.basis = why() if why is not None else ""
            state.worst = max(state.worst, value) if self.side == "high" else min(state.worst, value)
            if state.active and state.alarm is not None:
                worst = state.alarm.worst if state.alarm.worst is not None else value
                state.alarm.worst = max(worst, value) if self.side == "high" else min(worst, value)
            told += self._catch_up(t_us)  # it gave way when it was raised, and was not seen when that ended
        elif state.zone != "unknown":
            state.unknown_us = 0
            state.clear_us = state.clear_us if state.zone == "clear" else 0
            if not state.active:
                state.since_us = None
        return told + self.advance(t_us)

    def advance(self, t_us: int) -> list[Transition]:
        """Time has gone on to `t_us`, with what was observed last."""
        state = self.state
        told: list[Transition] = []
        if state.at_us is None:
            state.at_us = state.resumed_us = t_us
        while (due := self.due_us()) is not None and due <= t_us:
            self._move(due)
            self._act(told)
        self._move(t_us)
        return told

    def silent(self, t_us: int) -> list[Transition]:
        """Nobody observed anything until `t_us`: that time is unknown, and nothing in it is told before its end."""
        state = self.state
        if state.at_us is None or t_us <= state.at_us:
            return []
        state.zone, state.value = "unknown", None
        self._move(t_us)
        state.resumed_us = t_us
        return self.advance(t_us)

    def due_us(self) -> int | None:
        """When something happens by itself next, if what is observed stays so; None: never."""
        state = self.state
        if state.at_us is None:
            return None
        at, found = state.at_us, []
        if state.shelved_us is not None:
            found.append(state.shelved_us)
        if state.hushed_us is not None and state.hushed_us >= 0:
            found.append(state.hushed_us)
        if state.zone == "beyond" and not state.active:
            found.append(at + self.on_us - state.known_us)
        if state.zone == "clear" and state.active and not self._is_latched():
            found.append(at + self.off_us - state.clear_us)
        if state.told_us is not None and self._is_told_daily():
            found.append(state.told_us + DAY_US)
        return max(min(found), at) if found else None

    # what a person, or the vehicle's state, orders

    def acknowledge(self, at_us: int) -> list[Transition]:
        """A person has taken notice."""
        state = self.state
        if state.alarm is None or state.alarm.acknowledged is not None or state.told_us is None:
            return []
        state.alarm.acknowledged = at_us
        if state.active and not (self.limit.latched and (self.is_event or state.zone == "clear")):
            return [self._tell(at_us, "acknowledged")]
        if state.active:
            state.alarm.returned = at_us
            state.active, state.since_us = False, None
            state.zone = "unknown" if self.is_event else state.zone
        return self._cleared(at_us)

    def shelve(self, at_us: int, until_us: int) -> list[Transition]:
        """Not to be told until `until_us`."""
        state = self.state
        if state.out_of_service:
            return []
        state.shelved_us = until_us
        state.shelf = None if state.alarm is not None else empty_alarm(self.limit, self.side, at_us)
        return [self._tell(at_us, "shelved")]

    def unshelve(self, at_us: int) -> list[Transition]:
        """The shelving ends."""
        state = self.state
        if state.shelved_us is None:
            return []
        state.shelved_us = None
        told = [self._tell(at_us, "unshelved")]
        state.shelf = None
        return told + self._catch_up(at_us)

    def out_of_service(self, at_us: int) -> list[Transition]:
        """The limit is taken out of service, with the alarm it has."""
        state = self.state
        if state.out_of_service:
            return []
        shown = state.alarm or state.shelf
        self._forget(at_us)
        state.out_of_service, state.shelved_us = True, None
        state.shelf = shown or empty_alarm(self.limit, self.side, at_us)
        return [self._tell(at_us, "out_of_service")]

    def in_service(self, at_us: int) -> list[Transition]:
        """The limit is judged again, afresh."""
        state = self.state
        if not state.out_of_service:
            return []
        state.out_of_service = False
        told = [self._tell(at_us, "in_service")]
        state.shelf = None
        return told

    def hush(self, until_us: int | None) -> None:
        """Suppressed by design until then, or until `unhush`: what is seen meanwhile says nothing."""
        state = self.state
        state.hushed_us = -1 if until_us is None else until_us
        state.zone, state.value = "unknown", None
        state.since_us = state.since_us if state.active else None

    def unhush(self, at_us: int) -> list[Transition]:
        """The suppression ends."""
        if self.state.hushed_us is None:
            return []
        self.state.hushed_us = None
        return self._catch_up(at_us)

    def give_way(self, yields: bool, at_us: int) -> list[Transition]:
        """Whether another limit, which this one yields to, tells the same thing; what is over with it is not told."""
        before, self.state.yields = self.state.yields, yields
        return self._catch_up(at_us) if before and not yields and self.state.zone == "beyond" else []

    def end(self, at_us: int) -> list[Transition]:
        """The limit is no longer in the rules: an alarm that was told is told to be over."""
        state = self.state
        if state.alarm is None:
            return []
        state.alarm.returned = state.alarm.returned if state.alarm.returned is not None else at_us
        state.active, state.shelved_us, state.hushed_us, state.yields = False, None, None, False
        state.alarm.acknowledged = state.alarm.acknowledged if state.alarm.acknowledged is not None else at_us
        return self._cleared(at_us)

    # what is shown

    def shown(self) -> Alarm | None:
        """The alarm as it stands; None: normal."""
        alarm = self.state.alarm or self.state.shelf
        return None if alarm is None else alarm.model_copy(update=self._standing(alarm))

    def state_name(self) -> AlarmState:
        """The state in the standards' words."""
        state = self.state
        if state.out_of_service:
            return "out_of_service"
        if state.shelved_us is not None:
            return "shelved"
        if (state.hushed_us is not None or state.yields) and state.alarm is not None:
            return "suppressed_by_design"
        if state.alarm is None:
            return "normal"
        if state.alarm.acknowledged is not None:
            return "acknowledged" if state.active else "normal"
        return "unacknowledged" if state.active else "returned_unacknowledged"

    def _standing(self, alarm: Alarm) -> dict[str, object]:
        return {"state": self.state_name(), "shelved_until": self.state.shelved_us}

    def _is_blocked(self) -> bool:
        state = self.state
        return state.shelved_us is not None or state.hushed_us is not None or state.yields

    def _is_latched(self) -> bool:
        """What another limit told, and nobody was told by this one, needs no acknowledgement."""
        state = self.state
        unseen = state.yields and state.told_us is None
        return self.limit.latched and state.alarm is not None and state.alarm.acknowledged is None and not unseen

    def _is_told_daily(self) -> bool:
        state = self.state
        return state.active and state.alarm is not None and state.alarm.acknowledged is None and not self._is_blocked()

    # how it moves

    def _move(self, t_us: int) -> None:
        state = self.state
        passed = max(t_us - (state.at_us if state.at_us is not None else t_us), 0)
        state.at_us = max(t_us, state.at_us or t_us)
        if state.zone == "beyond":
            state.known_us += 0 if state.active else passed
        elif state.zone == "clear":
            state.clear_us += passed
        elif state.zone == "unknown":
            state.unknown_us += passed
            if not state.active and state.unknown_us > self.unknown_most_us:
                state.since_us = None
            if state.unknown_us > self.off_us:
                state.clear_us = 0

    def _act(self, told: list[Transition]) -> None:
        """Do what is due now, one thing."""
        state = self.state
        at = state.at_us or 0
        if state.shelved_us is not None and state.shelved_us <= at:
            told += self.unshelve(at)
        elif state.hushed_us is not None and 0 <= state.hushed_us <= at:
            told += self.unhush(at)
        elif state.zone == "beyond" and not state.active and state.known_us >= self.on_us:
            told += self._raise(at)
        elif state.zone == "clear" and state.active and not self._is_latched() and state.clear_us >= self.off_us:
            told += self._return(at)
        elif state.alarm is not None and state.told_us is not None:
            state.alarm.reminders += 1
            state.told_us = at
            told.append(self._tell(at, "reminder"))

    def _raise(self, at: int) -> list[Transition]:
        state = self.state
        state.active, state.known_us, state.clear_us = True, 0, 0
        if self._is_again(at) and state.alarm is not None:
            state.alarm.passages += 1
            state.alarm.returned = None
            worst = state.alarm.worst if state.alarm.worst is not None else state.worst
            state.alarm.worst = max(worst, state.worst) if self.side == "high" else min(worst, state.worst)
            return []
        value = state.value if state.value is not None else state.worst
        since = state.since_us if state.since_us is not None else at
        state.alarm = raised_alarm(self.limit, self.side, value, state.worst, state.setpoint, since, at, state.basis)
        state.told_us = None
        return self._catch_up(at)

    def _is_again(self, at: int) -> bool:
        """Whether this passage is the alarm that was told within a day, and no worse: by what holds, not by a peak."""
        alarm, told = self.state.alarm, self.state.told_us
        if alarm is None or alarm.worst is None or told is None or at - told >= DAY_US:
            return False
        value = self.state.value if self.state.value is not None else self.state.worst
        more = self.limit.deadband or WORSE_SHARE * abs(alarm.setpoint)
        return abs(value - alarm.setpoint) <= WORSE_TIMES * abs(alarm.worst - alarm.setpoint) + more

    def _return(self, at: int) -> list[Transition]:
        state = self.state
        state.active, state.since_us, state.clear_us = False, None, 0
        if state.alarm is None or state.told_us is None:  # nobody was told
            self._forget(at, keep_observed=True)
            return []
        state.alarm.returned = at
        if state.alarm.acknowledged is not None:
            return self._cleared(at)
        return [self._tell(at, "returned")] if state.alarm.passages == 1 and not self._is_blocked() else []

    def _cleared(self, at: int) -> list[Transition]:
        told = [self._tell(at, "cleared")]
        self._forget(at, keep_observed=True)
        return told

    def _catch_up(self, at: int) -> list[Transition]:
        """Tell an alarm that could not be told when it was raised."""
        state = self.state
        if not state.active or state.alarm is None or state.told_us is not None or self._is_blocked():
            return []
        state.told_us = at
        return [self._tell(at, "raised")]

    def _forget(self, at: int, keep_observed: bool = False) -> None:
        state = self.state
        state.alarm, state.told_us, state.active = None, None, False
        state.shelf = empty_alarm(self.limit, self.side, at) if state.shelved_us is not None else None
        state.since_us, state.known_us, state.clear_us = None, 0, 0
        if not keep_observed:
            state.zone, state.value = "unknown", None

    def _tell(self, at: int, what: What) -> Transition:
        alarm = self.shown() or empty_alarm(self.limit, self.side, at)
        return Transition(at=at, what=what, alarm=alarm)
