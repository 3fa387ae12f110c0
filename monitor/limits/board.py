"""All alarms of a vehicle: one for each side of each enabled limit, in the order in which they are judged.

A limit that yields to others is judged after them, so that of two raised in the same minute only the one is told. When
the other returns, what it told is not told again under this name for a day: the passage that it told, and any passage
of a quantity that still holds what is over, as the mean of a night does.
Transitions of one step are in order of time, then of the limit's name.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

from monitor.base.alarms import Alarm, Transition
from monitor.base.errors import SettingError
from monitor.base.orders import Order
from monitor.base.samples import SECOND_US
from monitor.base.state import from_plain, to_plain
from monitor.limits.alarm import DAY_US, LimitAlarm
from monitor.limits.quantities import QUANTITIES, Side
from monitor.limits.rules import Rules

SHELVED_MOST_US = 7 * 86_400 * SECOND_US  # a shelved alarm comes back within a week at the latest; our choice
SIDES: tuple[Side, ...] = ("high", "low")
URGENCY = ("critical", "high", "medium", "low")


class Board:
    """The alarms of one set of rules."""

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        limits = sorted((limit for limit in rules.limits if limit.enabled), key=lambda limit: bool(limit.yields_to))
        self.alarms = [
            LimitAlarm(limit, side)
            for limit in limits
            for side in SIDES
            if (limit.high if side == "high" else limit.low) is not None
        ]
        self._yielding = [
            (alarm, [other for other in self.alarms if other.limit.name in alarm.limit.yields_to])
            for alarm in self.alarms
            if alarm.limit.yields_to
        ]

    def of(self, quantities: Iterable[str]) -> list[LimitAlarm]:
        """The alarms of these quantities, in order."""
        asked = set(quantities)
        return [alarm for alarm in self.alarms if alarm.limit.quantity in asked]

    def give_way(self, at_us: int) -> list[Transition]:
        """Let each limit that yields know whether one it yields to is raised."""
        if not self._yielding:
            return []
        told: list[Transition] = []
        for alarm, others in self._yielding:
            told += alarm.give_way(any(_tells(other, alarm, at_us) for other in others), at_us)
        return told

    def shown(self) -> list[Alarm]:
        """Alarms that are not both normal and acknowledged, the most urgent first."""
        found = [shown for alarm in self.alarms if (shown := alarm.shown()) is not None]
        return sorted(found, key=lambda a: (URGENCY.index(a.priority), a.raised, a.limit, a.side))

    def told(self) -> list[Alarm]:
        """The alarms that were told and stand now."""
        return [alarm for a in self.alarms if a.state.told_us is not None and (alarm := a.shown()) is not None]

    def order(self, order: Order) -> list[Transition]:
        """Carry out an order on one limit; SettingError when the rules have none of that name, or a time is missing."""
        alarms = [alarm for alarm in self.alarms if alarm.limit.name == order.limit]
        if not alarms:
            names = sorted({alarm.limit.name for alarm in self.alarms})
            near = get_close_matches(order.limit or "", names, n=1)
            hint = f"did you mean {near[0]}? " if near else ""
            raise SettingError(
                f'{order.kind}: no limit "{order.limit or ""}" in the rules {self.rules.name}',
                f"{hint}known: {', '.join(names)}",
            )
        if order.kind == "shelve" and (order.until is None or order.until <= order.at):
            raise SettingError(
                f"shelve {order.limit}: expected a time later than now", "say until when, or for how long"
            )
        told: list[Transition] = []
        for alarm in alarms:
            if order.kind == "acknowledge":
                told += alarm.acknowledge(order.at)
            elif order.kind == "shelve":
                told += alarm.shelve(order.at, min(order.until or 0, order.at + SHELVED_MOST_US))
            elif order.kind == "unshelve":
                told += alarm.unshelve(order.at)
            elif order.kind == "out_of_service":
                told += alarm.out_of_service(order.at)
            else:
                told += alarm.in_service(order.at)
        return told

    def replaced(self, rules: Rules, at_us: int) -> tuple[Board, list[Transition]]:
        """A board of new rules: limits that are the same keep their alarms, those of the others are told to be over."""
        new, told = Board(rules), []
        before = {(alarm.limit, alarm.side): alarm for alarm in self.alarms}
        for alarm in new.alarms:
            old = before.pop((alarm.limit, alarm.side), None)
            if old is not None:
                alarm.state = old.state
        for old in before.values():
            told += old.end(at_us)
        return new, in_order(told)

    def snapshot(self) -> dict[str, Any]:
        """All alarms' memories, ready for JSON."""
        return {f"{alarm.limit.name}/{alarm.side}": to_plain(alarm.state) for alarm in self.alarms}

    def resume(self, memories: dict[str, Any]) -> None:
        """Take up the memories that `snapshot` of the same rules wrote."""
        for alarm in self.alarms:
            alarm.state = from_plain(memories[f"{alarm.limit.name}/{alarm.side}"])


def _tells(other: LimitAlarm, alarm: LimitAlarm, at_us: int) -> bool:
    """Whether `other` tells what `alarm` would, or told it within a day and nobody has closed it since."""
    was, since_us = other.state, alarm.state.since_us
    if was.active or was.alarm is None or was.told_us is None or was.told_us <= at_us - DAY_US:
        return was.active
    is_same = since_us is not None and since_us <= (was.alarm.returned or 0)
    return is_same or QUANTITIES[alarm.limit.quantity].trails


def in_order(told: list[Transition]) -> list[Transition]:
    """In order of time, then of the limit; of one limit as they came."""
    return sorted(told, key=lambda t: (t.at, t.alarm.limit, t.alarm.side))


def alarms_of(told: Iterable[Transition], shown: Iterable[Alarm], most: int) -> list[Alarm]:
    """Every alarm that was raised, as it stands last, in order of time; the newest `most` of them.

    shown   those that were told and stand now; they may have been told before `told` begins
    """
    found = {(step.alarm.limit, step.alarm.side, step.alarm.raised): step.alarm for step in told}
    found |= {(alarm.limit, alarm.side, alarm.raised): alarm for alarm in shown}
    raised = [alarm for alarm in found.values() if alarm.value is not None]
    return sorted(raised, key=lambda a: (a.raised, a.limit, a.side))[-most:]
