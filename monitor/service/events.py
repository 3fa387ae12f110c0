"""What the watch says, as the journal keeps it: kind, time and JSON, and back."""

from __future__ import annotations

from monitor.base.alarms import Transition
from monitor.base.results import Drive, QuarterHour, Stand
from monitor.limits.watch import Event

KINDS: dict[str, type[Stand] | type[Drive] | type[QuarterHour] | type[Transition]] = {
    "stand": Stand,
    "drive": Drive,
    "quarter": QuarterHour,
    "transition": Transition,
}
_NAMES = {kind: name for name, kind in KINDS.items()}


def written(number: int, event: Event) -> tuple[int, str, int, str]:
    """Number, kind, time (µs; of its end, where it has one) and JSON.

    >>> written(7, Stand(start=0, end=60_000_000))[:3]
    (7, 'stand', 60000000)
    """
    if isinstance(event, Transition):
        at = event.at
    elif isinstance(event, QuarterHour) or event.end is None:
        at = event.start
    else:
        at = event.end
    return number, _NAMES[type(event)], at, event.model_dump_json()


def read(kind: str, text: str) -> Event | None:
    """The event of a kind and its JSON; None for a kind that the watch does not say."""
    model = KINDS.get(kind)
    return None if model is None else model.model_validate_json(text)
