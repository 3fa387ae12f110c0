"""A real broker for tests: mosquitto on a free port of the loopback interface, with its own folder and process."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

PATIENCE_S = 20.0
PROGRAM = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
needed = pytest.mark.skipif(
    not Path(PROGRAM).exists() and os.environ.get("CI") != "true", reason="apt install mosquitto"
)  # where CI=true its absence fails


class Mosquitto:
    """The broker; `restart` keeps port, sessions and retained messages."""

    def __init__(self, folder: Path, *, password: str | None = None, certificate: Path | None = None) -> None:
        self.port = _free_port()
        lines = [
            f"listener {self.port} 127.0.0.1",
            "persistence true",
            f"persistence_location {folder}/",
            "autosave_interval 1",
            "autosave_on_changes true",
            "log_dest none",
            f"allow_anonymous {'true' if password is None else 'false'}",
        ]
        if password is not None:
            users = folder / "users"
            subprocess.run(["mosquitto_passwd", "-b", "-c", users, "logger", password], check=True, timeout=PATIENCE_S)
            lines.append(f"password_file {users}")
        if certificate is not None:
            lines += [f"certfile {certificate}", f"keyfile {certificate.with_suffix('.key')}"]
        if folder.owner() == "root":
            lines.append("user root")  # else it gives up its rights, and cannot read its folder
        self._config = folder / "mosquitto.conf"
        self._config.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None
        self.start()

    def __enter__(self) -> Mosquitto:
        return self

    def __exit__(self, *exc: object) -> None:
        self.stop(signal.SIGKILL)

    def start(self) -> None:
        self._process = subprocess.Popen(
            [PROGRAM, "-c", self._config], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )
        await_that(self._listens, "the broker listens")

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(PATIENCE_S)
            assert self._process.stderr is not None
            self._process.stderr.close()
            self._process = None

    def _listens(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, "the broker ended"
        try:
            socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
        except OSError:
            return False
        return True


class Other:
    """Another client of the broker: publishes, and remembers what it hears by topic."""

    def __init__(self, port: int, *topics: str, user: str | None = None, password: str | None = None) -> None:
        self.heard: dict[str, list[str]] = {}
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        if user is not None:
            self._client.username_pw_set(user, password)
        self._client.on_message = self._on_message
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        await_that(self._client.is_connected, "the other client is connected")
        for topic in topics:
            self._client.subscribe(topic, 1)

    def __enter__(self) -> Other:
        return self

    def __exit__(self, *exc: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: str, retain: bool = False) -> None:
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(PATIENCE_S)

    def _on_message(self, _client: object, _data: object, message: Any) -> None:
        self.heard.setdefault(message.topic, []).append(message.payload.decode())


def await_that(condition: Any, what: str) -> None:
    """Wait until the condition holds; fails, saying what was awaited."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, f"not seen: {what}"
        time.sleep(0.02)  # between two looks


def make_certificate(folder: Path, name: str = "localhost") -> Path:
    """A certificate for this host, signed by itself; its key beside it."""
    made = folder / f"{name}.pem"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "1", "-subj", f"/CN={name}"]
    command += ["-addext", f"subjectAltName=DNS:{name}", "-keyout", str(made.with_suffix(".key")), "-out", str(made)]
    subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_S)
    return made


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])
