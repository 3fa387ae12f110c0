"""Alarms: what a passed limit raises, and its states after ANSI/ISA-18.2 and IEC 62682.

The standards' states and their letters in a runtime that follows them (trade facts §7.1): A normal, B unacknowledged,
C acknowledged, D returned to normal unacknowledged, E shelved, F suppressed by design, G out of service.
"""

from __future__ import annotations

from typing import Literal

from monitor.base.fields import Moment, Number, Part

AlarmState = Literal[
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned_unacknowledged",
    "shelved",
    "suppressed_by_design",
    "out_of_service",
]
Priority = Literal["critical", "high", "medium", "low"]


class Alarm(Part):
    """One passage of a limit, from when it was raised until it is normal again and acknowledged.

    limit         name of the limit in its rules
    quantity      what is limited, one of the table of quantities
    value         of the quantity when the alarm was raised, in `unit`
    worst         the value farthest beyond the setpoint so far
    side          whether the high or the low setpoint was passed
    since         when the setpoint was passed; `raised` is later by the on-delay
    reminders     how often it was told again because nothing changed (once a day)
    passages      how often the setpoint was passed; passages within a day of being told are one alarm
    cause, response  of the limit, in plain words
    detail        the numbers and times it rests on, one sentence
    """

    limit: str
    quantity: str
    value: Number | None = None
    worst: Number | None = None
    unit: str
    side: Literal["high", "low"]
    setpoint: Number
    priority: Priority
    since: Moment
    raised: Moment
    returned: Moment | None = None
    acknowledged: Moment | None = None
    shelved_until: Moment | None = None
    state: AlarmState
    reminders: int = 0
    passages: int = 1
    cause: str
    response: str
    detail: str | None = None


class Transition(Part):
    """A step of one alarm, in the order of data time: what the journal keeps and what notices are made of.

    at      time of the data at which it happened
    what    raised, returned, acknowledged, shelved, unshelved, reminder (still so, a day later), cleared (normal again
            and acknowledged), out_of_service, in_service
    alarm   as it stands after the step; shelving a limit, or taking it out of service, while it has no alarm makes
            one without value
    """

    at: Moment
    what: Literal[
        "raised",
        "returned",
        "acknowledged",
        "shelved",
        "unshelved",
        "reminder",
        "cleared",
        "out_of_service",
        "in_service",
    ]
    alarm: Alarm
