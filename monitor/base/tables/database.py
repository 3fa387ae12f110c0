"""The [database] table: the database server that gets a copy of what the journal holds."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, StringConstraints
from pydantic_core import PydanticCustomError

from monitor.base.quantities import DURATION, QuantityBytes, QuantitySeconds, parse_quantity
from monitor.base.tables.strict import Above, Name, SecretPlace, Strict

LONGEST_STEP_S = 600  # our choice: a longer mean hides the wake-ups of a module
FULL, NONE = "full", "none"


def _address(url: str) -> str:
    try:
        parts = urlsplit(url)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:  # a port that is no number, brackets that do not close
        usable = False
    if not usable or parts.query or parts.fragment:
        hidden = "@" in url or "?" in url  # a password or a token may stand there
        raise PydanticCustomError(
            "secret" if hidden else "address", 'expected an address, as "https://db.example:8086"'
        )
    if parts.username is not None or parts.password is not None:
        raise PydanticCustomError("secret", "expected an address without a password; name its place in token")
    return url


def _samples(text: str) -> str:
    if text not in (FULL, NONE):
        _step_s(text)
    return text


def _step_s(text: str) -> int:
    try:
        step_s = parse_quantity(text, DURATION)
    except ValueError:
        step_s = 0.0
    if not 1 <= step_s <= LONGEST_STEP_S or step_s != round(step_s):
        raise PydanticCustomError(
            "samples", 'expected "full", "none", or whole seconds up to 10 min, as "10 s"', {"known": [FULL, NONE]}
        )
    return round(step_s)


def _verify(text: str) -> str:
    if text in ("on", "off") or "/" in text:
        return text
    raise PydanticCustomError(
        "verify", 'expected "on", "off", or the path of a file with certificates to trust', {"known": ["on", "off"]}
    )


class DatabaseTable(Strict):
    """A server that takes line protocol at /api/v2/write, and what it gets.

    url          http:// or https://
    org, bucket  as the server knows them; a server without them ignores both
    token        where the token is kept; None: the server asks for none. One that asks for a user and a password takes
                 them as "user:password"
    samples      "full", "none", or the step over which mean, lowest and highest are sent
    seconds      whether the summary of each second is sent too
    compress     send packed: a sixth of the bytes for some more work; for links that are paid by the byte
    verify       whether the server must prove who it is: "on", a file of certificates to trust, or "off"
    timeout_s    how long one answer may take
    batch_points, batch_bytes   the most that one request carries
    """

    url: Annotated[str, StringConstraints(max_length=500), AfterValidator(_address)]
    org: str = Field(default="", max_length=100)
    bucket: Name = "keyoff"
    token: SecretPlace | None = None
    samples: Annotated[str, AfterValidator(_samples)] = "10 s"
    seconds: bool = True
    compress: bool = False
    verify: Annotated[str, StringConstraints(max_length=500), AfterValidator(_verify)] = "on"
    timeout_s: Annotated[QuantitySeconds, Above] = Field(
        default=30.0, validation_alias="timeout", json_schema_extra={"default": "30 s"}
    )
    batch_points: int = Field(default=5000, ge=1, le=100_000)
    batch_bytes: Annotated[QuantityBytes, Above] = Field(default=2e6, json_schema_extra={"default": "2 MB"})

    @property
    def step_s(self) -> int | None:
        """Whole seconds over which samples are summed up; None: they are sent in full, or not at all."""
        return None if self.samples in (FULL, NONE) else _step_s(self.samples)
