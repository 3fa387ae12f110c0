"""State and alarms out to an MQTT broker: retained, so that who comes later knows, with a last will for a dead logger.

  PREFIX/VEHICLE/alive    "on", or "off" once the service has ended or, by the broker itself, is not heard any more
  PREFIX/VEHICLE/state    JSON: the logger's link, the last sample, what the vehicle is doing (running, stopping,
                          settling, asleep, awake), how many alarms stand, what needs a person
  PREFIX/VEHICLE/alarms   JSON: the alarms that are not both normal and acknowledged

State is no log: while the broker is away nothing is kept, and when it is back the newest is sent. QoS 1; a document
counts as published once the broker has acknowledged it.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from monitor.base.errors import KeyoffError, SettingError
from monitor.base.health import Health
from monitor.base.vehicle import Vehicle
from monitor.sources.live.backoff import Backoff
from monitor.sources.live.broker_client import CONNECT_S, Broker
from monitor.store.home import slug

if TYPE_CHECKING:
    from paho.mqtt.client import Client

LOOK_S = 0.5  # between two looks at the health; our choice
FRESH_S = 60.0  # a state of which only times and counts have changed goes out so often; our choice
FIRST_S = 1.0  # before the first new try
GOODBYE_S = 1.0  # at the end, for the broker to take "off"
_ALWAYS_NEW = ("written", "last_sample", "rate_hz")  # that they change says nothing


class Publisher:
    """Publishes one vehicle's state and alarms until it is told to stop.

    health  gives what the service last said of itself; None: nothing yet
    Raises SettingError for a missing library, secret or certificate; what a broker does, raises nothing.
    """

    def __init__(
        self, vehicle: Vehicle, health: Callable[[], Health | None], monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        table = vehicle.broker
        if table is None or table.url is None:
            raise SettingError("no broker to publish to", 'write [broker] url = "mqtts://HOST" into the vehicle file')
        self._broker = Broker(table.url, table, table.client_id(vehicle.name, "out"))
        self._topic = f"{table.prefix}/{slug(vehicle.name)}"
        self._health = health
        self._now = monotonic
        self._client: Client | None = None
        self._backoff = Backoff(FIRST_S)
        self._let_in = False
        self._why = ""
        self._published = 0
        self._since: float | None = None
        self._worded: Health | None = None
        self._words = ("", "", "")
        self._under_way: dict[int, tuple[str, str]] = {}  # message id → topic, what was sent
        self._confirmed: dict[str, tuple[str, float]] = {}  # topic → what the broker has, since when

    @property
    def state(self) -> dict[str, object]:
        """For the health file: whether the broker has everything, and why not."""
        stands = "published" if self._let_in and not self._why else "waiting"
        return {"broker": self._broker.name, "state": stands, "published": self._published, "last_error": self._why}

    def run(self, stop: threading.Event) -> None:
        """Publish until `stop` is set; then say "off" and leave."""
        try:
            while not stop.is_set():
                if self._client is None and not self._connect(stop):
                    continue
                self._work(LOOK_S)
                if self._client is not None and self._let_in:
                    self._publish()
        finally:
            self._say_goodbye()

    def _connect(self, stop: threading.Event) -> bool:
        callbacks = {"on_connect": self._on_connect, "on_publish": self._on_publish}
        self._let_in = False
        self._under_way.clear()
        self._confirmed.clear()  # a broker may come back without what it kept
        try:
            self._client = self._broker.connect(callbacks, will=f"{self._topic}/alive")
        except (OSError, ValueError) as wrong:
            self._why = self._broker.unreachable(wrong)[1]
            stop.wait(self._backoff.wait_s())
            return False
        deadline = self._now() + CONNECT_S
        while not self._let_in and self._client is not None and not stop.is_set():
            if self._now() > deadline:
                self._lose("what is there does not answer as a broker does; check the port")
            else:
                self._work(LOOK_S)
        if self._client is None:
            stop.wait(self._backoff.wait_s())
        return self._let_in

    def _work(self, wait_s: float) -> None:
        """Let the client send and receive."""
        client = self._client
        if client is None:
            return
        try:
            is_sound = client.loop(wait_s) == 0
        except (OSError, ValueError):
            is_sound = False
        if not is_sound:
            self._lose(self._why or "the connection ended; it is opened again")

    def _lose(self, why: str) -> None:
        self._why, self._let_in = why, False
        client, self._client = self._client, None
        if client is not None:
            client.disconnect()

    def _publish(self) -> None:
        self._send("alive", "on", "on")
        try:
            health = self._health()
        except KeyoffError as wrong:
            self._why = f"{wrong.what}; {wrong.remedy}"
            return
        if health is None:
            return
        if health is not self._worded:  # between two healths there are many looks
            self._worded, self._words = health, _words(health)
        state, told, alarms = self._words
        self._send("state", state, told, FRESH_S)
        self._send("alarms", alarms, alarms)

    def _send(self, name: str, payload: str, told: str, fresh_s: float | None = None) -> None:
        """Send what the broker does not have yet; one message a topic at a time."""
        topic = f"{self._topic}/{name}"
        has, at = self._confirmed.get(topic, (None, 0.0))
        is_fresh = fresh_s is None or self._now() - at < fresh_s
        if self._client is None or (has == told and is_fresh) or any(t == topic for t, _ in self._under_way.values()):
            return
        sent = self._client.publish(topic, payload, qos=1, retain=True)
        if sent.rc == 0:
            self._under_way[sent.mid] = topic, told

    def _say_goodbye(self) -> None:
        """The will is for a death; an end in order is told by ourselves, since the broker drops the will then."""
        client = self._client
        if client is None or not self._let_in:
            self._lose(self._why)
            return
        client.publish(f"{self._topic}/alive", "off", qos=1, retain=True)
        deadline = self._now() + GOODBYE_S
        while client.want_write() and self._now() < deadline and client.loop(0.05) == 0:
            pass
        self._lose("")

    def _on_connect(self, _client: object, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            self._why = self._broker.refusal(reason)
            return
        self._let_in, self._why = True, ""
        self._backoff.reset()

    def _on_publish(self, _client: object, _data: object, mid: int, _reason: object, _properties: object) -> None:
        found = self._under_way.pop(mid, None)
        if found is not None:
            self._confirmed[found[0]] = found[1], self._now()
            self._published += 1


def _words(health: Health) -> tuple[str, str, str]:
    """The state as it is sent, what of it is news, and the alarms."""
    state = _state(health)
    told = {key: value for key, value in state.items() if key not in _ALWAYS_NEW}
    if health.condition is not None:  # its level creeps by noise
        told["condition"] = [health.condition.state, health.condition.since]
    return json.dumps(state), json.dumps(told), json.dumps([alarm.model_dump(mode="json") for alarm in health.alarms])


def _state(health: Health) -> dict[str, Any]:
    """What of a vehicle's health is for everybody who may read the topic."""
    plain = health.model_dump(mode="json", include={"vehicle", "written", "link", "last_sample", "rate_hz", "troubles"})
    plain["condition"] = None if health.condition is None else health.condition.model_dump(mode="json")
    plain["watch"] = health.watch
    plain["alarms"] = len(health.alarms)
    plain["hushed"] = health.hushed_until is not None
    plain["clock"] = health.clock_why or "set"
    return plain
