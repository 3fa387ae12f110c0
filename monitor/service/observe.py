"""What the service itself sees and the samples do not hold: free disk, clock, waiting notices; told when it changes.

Each observation is an order in the journal, so that a replay judges the same; it is given only when the value moved by
a tenth, became or ceased to be zero, or crossed a limit's setpoint, so that the journal does not grow with time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from monitor.base.orders import Order
from monitor.limits.rules import Rules

MATERIAL = 0.1  # our choice: share by which a value must move to be told again


@dataclass(slots=True)
class Observer:
    """Remembers what was told last.

    >>> seen = Observer()
    >>> [len(seen.orders({"disk_free": value}, 0, None)) for value in (8e9, 7.5e9, 7.1e9, 0.0, 0.0)]
    [1, 0, 1, 1, 0]
    """

    told: dict[str, float] = field(default_factory=dict)

    def orders(self, values: Mapping[str, float], at_us: int, rules: Rules | None) -> list[Order]:
        """An order for each value that changed materially."""
        due = {
            name: value
            for name, value in values.items()
            if name not in self.told or _moved(self.told[name], value, _setpoints(rules, name))
        }
        self.told |= due
        return [
            Order(id=f"{at_us:016d}-{name}", at=at_us, kind="observe", quantity=name, value=value)
            for name, value in due.items()
        ]


def _moved(before: float, now: float, setpoints: Iterable[float]) -> bool:
    if (before == 0) != (now == 0) or abs(now - before) > MATERIAL * abs(before):
        return True
    return any(min(before, now) <= point <= max(before, now) and before != now for point in setpoints)


def _setpoints(rules: Rules | None, quantity: str) -> list[float]:
    limits = [] if rules is None else [limit for limit in rules.limits if limit.quantity == quantity]
    return [point for limit in limits for point in (limit.high, limit.low) if point is not None]
