"""The [broker] table: the message broker that samples come from or state goes to."""

from __future__ import annotations

import re
from typing import Annotated, Literal, Self
from urllib.parse import urlsplit

from pydantic import AfterValidator, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from monitor.base.tables.strict import Name, SecretPlace, Strict

_PORTS = {"mqtt": 1883, "mqtts": 8883}  # registered for MQTT, and for MQTT over TLS


def broker_host(url: str) -> tuple[str, int, bool]:
    """Host, port and whether TLS is asked for, of mqtt://HOST:PORT or mqtts://HOST:PORT; raises ValueError.

    >>> broker_host("mqtts://broker.example")
    ('broker.example', 8883, True)
    """
    parts = urlsplit(url)
    port = parts.port  # ValueError when it is none
    if parts.scheme not in _PORTS or not parts.hostname or parts.path.strip("/") or parts.query or parts.fragment:
        raise ValueError("no address of a broker")
    if parts.username is not None or parts.password is not None:
        raise ValueError("credentials in the address")
    return parts.hostname, _PORTS[parts.scheme] if port is None else port, parts.scheme == "mqtts"


def _url(text: str) -> str:
    try:
        broker_host(text)
    except ValueError as wrong:
        raise PydanticCustomError(
            "secret", "expected mqtt://HOST:PORT or mqtts://HOST:PORT, with user and password under keys of their own"
        ) from wrong
    return text


def _filter(text: str) -> str:
    """MQTT 5, 4.7.1: "+" stands for a whole level, "#" for the last ones."""
    levels = text.split("/")
    if (
        any(("+" in level and level != "+") or ("#" in level and level != "#") for level in levels)
        or "#" in levels[:-1]
    ):
        raise PydanticCustomError(
            "topic", 'expected a topic, in which "+" stands for a level and a last "#" for the rest'
        )
    return text


def _topic(text: str) -> str:
    if "+" in text or "#" in text or text.startswith("$"):
        raise PydanticCustomError("topic", "expected the beginning of a topic, without wildcards")
    return text.strip("/")


Topic = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]


class BrokerTable(Strict):
    """Address, topics and credentials of an MQTT broker. Samples come in where [source] url is mqtt:// or mqtts://.

    url       where state and alarms go; None: nothing is published
    user      at the broker
    password  where it is kept, "env:NAME" or "file:PATH"
    ca        certificates of the authority that the broker's is checked against; None: those of the system
    verify    "off": the broker's certificate is not checked, and anybody may pose as the broker
    topics    that samples come on: lines of a log, or SenML
    times     "own": the payloads carry the time of their samples; "arrival": they are live only, and stamped here
    client    identifier at the broker; unique there. None: made of the vehicle's name
    protocol  version of MQTT
    prefix    first level of the topics that state and alarms go to
    """

    url: Annotated[str, AfterValidator(_url)] | None = None
    user: Name | None = None
    password: SecretPlace | None = None
    ca: str | None = None
    verify: Literal["on", "off"] = "on"
    topics: tuple[Annotated[Topic, AfterValidator(_filter)], ...] = ()
    times: Literal["own", "arrival"] = "own"
    client: Name | None = None
    protocol: Literal["5", "3.1.1"] = "5"
    prefix: Annotated[Topic, AfterValidator(_topic)] = "keyoff"

    @model_validator(mode="after")
    def _password_goes_with_a_user(self) -> Self:
        if self.password is not None and self.user is None:
            raise PydanticCustomError("user", "expected the user that the password is for", {"key": "user"})
        return self

    def client_id(self, vehicle: str, role: str) -> str:
        """The identifier at the broker of one of our two connections.

        >>> BrokerTable().client_id("Estate car, blue", "in")
        'keyoff-estate-car-blue-in'
        """
        name = self.client or "keyoff-" + (re.sub(r"[^a-z0-9]+", "-", vehicle.lower()).strip("-") or "unnamed")
        return f"{name}-{role}"
