"""State and alarms to a real broker: retained, newest only, and a last will that tells of a dead logger."""

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from monitor.base.alarms import Alarm
from monitor.base.condition import Condition
from monitor.base.errors import SettingError
from monitor.base.health import Health, Link
from monitor.base.vehicle import Vehicle
from monitor.service.broker import Publisher
from tests.live.mosquitto import PATIENCE_S, Mosquitto, Other, await_that, make_certificate, needed

pytestmark = needed
ALL = "keyoff/estate-car-blue/#"
ALIVE, STATE, ALARMS = (f"keyoff/estate-car-blue/{name}" for name in ("alive", "state", "alarms"))
AT_US = 1_764_100_000_000_000
SECRET = "s3cret-of-nobody"


def health(link: str = "speaking", last_s: int = 0, alarms: int = 0) -> Health:
    alarm = Alarm(
        limit="sleep_current", quantity="sleep_current", value=0.2, unit="A", side="high", setpoint=0.05,
        priority="high", since=AT_US, raised=AT_US, state="unacknowledged", cause="a drain", response="find it",
    )  # fmt: skip
    return Health(
        vehicle="Estate car, blue", pid=1, version="0", started=AT_US, written=AT_US + last_s,
        link=Link(logger="serial:/dev/ttyUSB0", state=link, since=AT_US), last_sample=AT_US + last_s,
        alarms=[alarm] * alarms,
    )  # fmt: skip


def vehicle(url: str, **broker: Any) -> Vehicle:
    return Vehicle.model_validate({"name": "Estate car, blue", "broker": {"url": url, **broker}})


class Said:
    """What the service says of itself, for a test to change."""

    def __init__(self) -> None:
        self.now: Health | None = health()
        self.asked = 0

    def __call__(self) -> Health | None:
        self.asked += 1
        return self.now


@contextmanager
def publishing(url: str, said: Said, **broker: Any) -> Iterator[Publisher]:
    publisher, stop = Publisher(vehicle(url, **broker), said), threading.Event()
    thread = threading.Thread(target=publisher.run, args=(stop,), name="publisher")
    thread.start()
    try:
        yield publisher
    finally:
        stop.set()
        thread.join(PATIENCE_S)
        assert not thread.is_alive()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path) as made:
        yield made


def newest(other: Other, topic: str) -> Any:
    texts = other.heard.get(topic)
    return None if not texts else json.loads(texts[-1]) if texts[-1][:1] in "[{" else texts[-1]


def url(broker: Mosquitto) -> str:
    return f"mqtt://127.0.0.1:{broker.port}"


def test_who_comes_later_hears_state_alarms_and_that_the_logger_lives(broker: Mosquitto) -> None:
    said = Said()
    said.now = health(alarms=1)
    with publishing(url(broker), said) as publisher:
        await_that(lambda: publisher.state["published"] == 3, "all three are acknowledged")
        with Other(broker.port, ALL) as other:
            await_that(lambda: len(other.heard) == 3, "three topics")
        assert newest(other, ALIVE) == "on"
        assert newest(other, STATE)["link"]["state"] == "speaking"
        assert [alarm["limit"] for alarm in newest(other, ALARMS)] == ["sleep_current"]


def test_a_change_is_told_and_a_later_sample_alone_is_not(broker: Mosquitto) -> None:
    said = Said()
    with Other(broker.port, ALL) as other, publishing(url(broker), said) as publisher:
        await_that(lambda: publisher.state["published"] == 3, "all three are acknowledged")
        said.now = health(last_s=1)
        seen = said.asked + 3
        await_that(lambda: said.asked >= seen, "the later sample is looked at")
        said.now = health(link="silent", last_s=2)
        await_that(lambda: (newest(other, STATE) or {}).get("link", {}).get("state") == "silent", "the change")
        states = [json.loads(text) for text in other.heard[STATE]]
    assert [state["link"]["state"] for state in states] == ["speaking", "silent"]
    assert len(other.heard[ALARMS]) == 1


def test_falling_asleep_is_told_and_a_level_that_creeps_is_not(broker: Mosquitto) -> None:
    said = Said()
    sleeps = [Condition(state="asleep", since=AT_US, sleep_a=level) for level in (0.0180, 0.0181, 0.0182)]
    said.now = health().model_copy(update={"condition": Condition(state="settling", since=AT_US)})
    with Other(broker.port, ALL) as other, publishing(url(broker), said) as publisher:
        await_that(lambda: publisher.state["published"] == 3, "all three are acknowledged")
        for condition in sleeps:
            said.now = health().model_copy(update={"condition": condition})
            seen = said.asked + 3
            await_that(lambda seen=seen: said.asked >= seen, "it is looked at")
        states = [json.loads(text)["condition"] for text in other.heard[STATE]]
    assert [state["state"] for state in states] == ["settling", "asleep"]
    assert states[1]["sleep_a"] == 0.018


def test_an_end_in_order_is_told(broker: Mosquitto) -> None:
    with Other(broker.port, ALIVE) as other:
        with publishing(url(broker), Said()):
            await_that(lambda: newest(other, ALIVE) == "on", "on")
        await_that(lambda: newest(other, ALIVE) == "off", "off")


def test_a_killed_service_is_told_by_the_broker(broker: Mosquitto) -> None:
    code = f"""
import threading
from tests.live.test_broker_state import Publisher, Said, vehicle
Publisher(vehicle({url(broker)!r}), Said()).run(threading.Event())
"""
    with Other(broker.port, ALIVE) as other:
        child = subprocess.Popen([sys.executable, "-c", code], cwd=Path(__file__).parents[2], env=os.environ)
        await_that(lambda: newest(other, ALIVE) == "on", "on")
        child.send_signal(signal.SIGKILL)
        child.wait(PATIENCE_S)
        await_that(lambda: newest(other, ALIVE) == "off", "the last will")


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_after_an_outage_the_newest_is_sent_and_nothing_older(broker: Mosquitto, how: signal.Signals) -> None:
    said = Said()
    with publishing(url(broker), said) as publisher:
        await_that(lambda: publisher.state["published"] == 3, "all three are acknowledged")
        broker.stop(how)
        await_that(lambda: publisher.state["state"] == "waiting", "the outage is seen")
        for link in ("silent", "unplugged", "hung_up"):
            said.now = health(link=link)
        broker.start()
        with Other(broker.port, ALL) as other:
            await_that(lambda: (newest(other, STATE) or {}).get("link", {}).get("state") == "hung_up", "the newest")
            await_that(lambda: newest(other, ALIVE) == "on", "alive again")
        assert {json.loads(text)["link"]["state"] for text in other.heard[STATE]} <= {"speaking", "hung_up"}


def test_a_wrong_password_is_told_without_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TEST_BROKER", SECRET)
    with (
        Mosquitto(tmp_path, password="another") as broker,
        publishing(url(broker), Said(), user="logger", password="env:TEST_BROKER") as publisher,
    ):
        await_that(lambda: "refuses us" in str(publisher.state["last_error"]), "the refusal")
        assert SECRET not in json.dumps(publisher.state)
        assert publisher.state["published"] == 0


def test_state_goes_out_over_tls_to_a_trusted_broker_only(tmp_path: Path) -> None:
    certificate = make_certificate(tmp_path)
    with Mosquitto(tmp_path, certificate=certificate) as broker:
        with publishing(f"mqtts://localhost:{broker.port}", Said(), ca=str(certificate)) as publisher:
            await_that(lambda: publisher.state["published"] == 3, "all three are acknowledged")
        with publishing(f"mqtts://localhost:{broker.port}", Said()) as stranger:
            await_that(lambda: "not trusted" in str(stranger.state["last_error"]), "the refusal")
            assert stranger.state["published"] == 0


def test_without_an_address_the_error_says_what_to_write() -> None:
    with pytest.raises(SettingError) as refused:
        Publisher(Vehicle(), Said())
    assert "[broker] url" in refused.value.remedy
