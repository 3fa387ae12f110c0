"""The [source] table: where live samples come from."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

from monitor.base.quantities import QuantitySeconds
from monitor.base.tables.strict import Above, Strict

Url = Annotated[str, StringConstraints(min_length=1, max_length=500)]


class SourceTable(Strict):
    """How `keyoff watch` reaches the logger.

    url         serial:/dev/…?baud=115200, socket://HOST:PORT, rfc2217://HOST:PORT, file:PATH (a growing file), stdin:
    silence_s   a logger that says nothing for so long is silent
    record      keep the raw bytes too, so that any problem on site becomes a log to replay
    """

    url: Url
    silence_s: Annotated[QuantitySeconds, Above] = Field(
        default=120.0, validation_alias="silence", json_schema_extra={"default": "2 min"}
    )
    record: bool = False
