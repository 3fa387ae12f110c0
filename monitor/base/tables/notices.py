"""The [notices] table: who is told what, and when. Addresses are secrets: the file says where each is kept.

There is no command to run on an alarm, and there will be none: a notice goes over the network, or it does not go.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema, model_validator
from pydantic_core import PydanticCustomError

from monitor.base.alarms import Priority
from monitor.base.quantities import QuantitySeconds
from monitor.base.tables.strict import Name, NotNegative, SecretPlace, Strict

MOST_DESTINATIONS = 20  # our choice: each has a thread of its own
DAY_MIN = 24 * 60
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)", re.ASCII)
_DAY_AND_CLOCK = re.compile(rf"({'|'.join(WEEKDAYS)}) ({_CLOCK.pattern})", re.ASCII)


def _clock(value: Any) -> int:
    found = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise PydanticCustomError("clock", 'expected a time of day, as "22:00"')
    return int(found[1]) * 60 + int(found[2])


def _clock_or_never(value: Any) -> int | None:
    if value is False:
        return None
    try:
        return _clock(value)
    except PydanticCustomError as wrong:
        raise PydanticCustomError("clock", 'expected a time of day, as "07:30", or false for none') from wrong


def _week_or_never(value: Any) -> int | None:
    if value is False:
        return None
    found = _DAY_AND_CLOCK.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise PydanticCustomError("week", 'expected a day and a time, as "Mon 08:00", or false for none')
    return WEEKDAYS.index(found[1]) * DAY_MIN + int(found[3]) * 60 + int(found[4])


def _text_or_false(pattern: str, example: str) -> WithJsonSchema:
    text = {"type": "string", "pattern": f"^{pattern}$", "examples": [example]}
    return WithJsonSchema({"anyOf": [text, {"const": False}]})


Clock = Annotated[int, BeforeValidator(_clock), WithJsonSchema({"type": "string", "pattern": f"^{_CLOCK.pattern}$"})]
ClockOrNever = Annotated[int | None, BeforeValidator(_clock_or_never), _text_or_false(_CLOCK.pattern, "07:30")]
WeekOrNever = Annotated[
    int | None, BeforeValidator(_week_or_never), _text_or_false(_DAY_AND_CLOCK.pattern, "Mon 08:00")
]
Delay = Annotated[QuantitySeconds, NotNegative]


class Destination(Strict):
    """One who is told.

    to          where its Apprise address is kept, "env:NAME" or "file:PATH"; the address itself is never written here
    name        how status and messages call it; `to` when not said
    priorities  alarms of which priority it is told; all when not said
    summaries   whether it gets the morning and weekly summaries
    """

    to: SecretPlace
    name: Name | None = None
    priorities: tuple[Priority, ...] = ("critical", "high", "medium", "low")
    summaries: bool = True

    @property
    def called(self) -> str:
        """Its name."""
        return self.name or self.to


class Quiet(Strict):
    """Hours in which only the excepted priorities are told; the others wait for their end. In the vehicle's zone.

    from_min, to_min   minutes of the local day; the hours may run over midnight
    """

    from_min: Clock = Field(validation_alias="from")
    to_min: Clock = Field(validation_alias="to")
    excepted: tuple[Priority, ...] = Field(default=("critical",), validation_alias="except")

    @model_validator(mode="after")
    def _has_an_end(self) -> Self:
        if self.from_min == self.to_min:
            raise PydanticCustomError("quiet", "expected an end other than the beginning", {"key": "to"})
        return self


def _delay(text: str, seconds: float) -> Any:
    return Field(default=seconds, json_schema_extra={"default": text})


class Delays(Strict):
    """How long a trouble of the logger's link or of the service must last before it is told. Defaults are our choice.

    A cable that is being moved, a port that is being reopened and a program that is being updated are over in minutes.
    What endangers the data or the watch itself is told at once.
    """

    silent: Delay = _delay("10 min", 600.0)
    unplugged: Delay = _delay("5 min", 300.0)
    hung_up: Delay = _delay("10 min", 600.0)
    refused: Delay = _delay("10 min", 600.0)
    port_taken: Delay = _delay("5 min", 300.0)
    garbage: Delay = _delay("5 min", 300.0)
    wrong_speed: Delay = _delay("2 min", 120.0)
    error: Delay = _delay("10 min", 600.0)
    disk_full: Delay = _delay("0 s", 0.0)
    journal_damaged: Delay = _delay("0 s", 0.0)
    watch_fault: Delay = _delay("0 s", 0.0)
    job_fault: Delay = _delay("30 min", 1800.0)


def _named_apart(destinations: tuple[Destination, ...]) -> tuple[Destination, ...]:
    if len(destinations) > MOST_DESTINATIONS:
        raise PydanticCustomError("many", f"expected no more than {MOST_DESTINATIONS} destinations")
    names = [destination.called for destination in destinations]
    for place, name in enumerate(names):
        if name in names[:place]:
            raise PydanticCustomError(
                "twice", 'expected each destination to have a name of its own; "{name}" comes twice', {"name": name}
            )
    return destinations


class NoticesTable(Strict):
    """Destinations by priority, quiet hours, summaries.

    morning_min   minutes of the local day of the morning summary; None: none
    weekly_min    minutes since Monday 00:00 of the weekly summary; None: none
    """

    destinations: Annotated[tuple[Destination, ...], AfterValidator(_named_apart)] = ()
    quiet: Quiet | None = None
    morning_min: ClockOrNever = Field(
        default=7 * 60 + 30, validation_alias="morning", json_schema_extra={"default": "07:30"}
    )
    weekly_min: WeekOrNever = Field(
        default=8 * 60, validation_alias="weekly", json_schema_extra={"default": "Mon 08:00"}
    )
    delays: Delays = Delays()
