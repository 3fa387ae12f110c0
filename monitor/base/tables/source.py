"""The [source] table: where live samples come from."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

from monitor.base.quantities import QuantitySeconds
from monitor.base.tables.strict import Above, Strict

Url = Annotated[str, StringConstraints(min_length=1, max_length=500)]


class SourceTable(Strict):
    """How `keyoff watch` reaches the logger.

    url         serial:PATH?baud=115200 (or serial:NAME, the stable name under /dev/serial/by-id), socket://HOST:PORT,
                rfc2217://HOST:PORT?baud=9600, file:PATH (a growing file), stdin:, simulate:SCENARIO?speed=60;
                instruments and brokers have schemes of their own
    silence_s   a logger that says nothing for so long is silent
    record      keep the raw bytes too, so that any problem on site becomes a log to replay
    """

    url: Url
    silence_s: Annotated[QuantitySeconds, Above] = Field(
        default=120.0, validation_alias="silence", json_schema_extra={"default": "2 min"}
    )
    record: bool = False
