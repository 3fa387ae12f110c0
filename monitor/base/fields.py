"""How figures and times are written in the result document: the common ground of its models.

Times are integer microseconds UTC inside and ISO 8601 UTC in JSON. Absent knowledge is None (null), never 0. Numbers
are rounded on output far below any logger's resolution, so that the text is readable and stable.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainSerializer, WithJsonSchema

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def iso(t_us: int) -> str:
    """ISO 8601 UTC, with microseconds only when the time is not a whole second.

    >>> iso(0), iso(1_500_000)
    ('1970-01-01T00:00:00Z', '1970-01-01T00:00:01.500000Z')
    """
    text = (EPOCH + timedelta(microseconds=t_us)).isoformat()
    return text.replace("+00:00", "Z")


def micros(value: object) -> object:
    """Microseconds UTC from ISO 8601 text (as `iso` writes it); anything else passes unchanged.

    >>> micros("1970-01-01T00:00:01.500000Z")
    1500000
    """
    if isinstance(value, str):
        return (datetime.fromisoformat(value) - EPOCH) // timedelta(microseconds=1)
    return value


def _rounded(digits: int) -> PlainSerializer:
    return PlainSerializer(lambda x: None if x is None else round(x, digits) + 0.0, return_type=float)


Moment = Annotated[
    int,
    BeforeValidator(micros),
    PlainSerializer(iso, return_type=str),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
Volts = Annotated[float, _rounded(4)]
Amps = Annotated[float, _rounded(6)]
AmpHours = Annotated[float, _rounded(6)]
Number = Annotated[float, _rounded(4)]


class Part(BaseModel):
    """A part of the result document: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid")


class Span(Part):
    """A half-open interval of time."""

    start: Moment
    end: Moment
