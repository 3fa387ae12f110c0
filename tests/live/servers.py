"""Real database servers for tests: started on loopback in a folder of their own, ended by their process id.

VictoriaMetrics takes what influxdb-client writes unchanged; with vmauth before it, it asks for a token. InfluxDB 1.6
overwrites points, refuses wrong types and survives a kill; it has no /api/v2/write, so a `Front` maps it.

Without a server its tests are skipped, saying how to install it; where CI=true they fail.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

READY_S = 60.0  # a server that does not answer by then is broken, on any machine


def needed(program: str, package: str) -> str:
    """Path of a server's program."""
    found = shutil.which(program)
    if found is None:
        ask = f"{program} is not installed: apt install {package}"
        if os.environ.get("CI") == "true":
            pytest.fail(ask)
        pytest.skip(ask)
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def get(url: str) -> str:
    with urllib.request.urlopen(url, timeout=READY_S) as answer:
        return str(answer.read().decode())


class Process:
    """A server process, restartable in the same folder and on the same port."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._child: subprocess.Popen[bytes] | None = None

    def command(self) -> list[str]:
        raise NotImplementedError

    def ready(self) -> bool:
        raise NotImplementedError

    def start(self) -> None:
        """Start, and wait until it answers."""
        with (self.folder / "log").open("ab") as log:
            self._child = subprocess.Popen(self.command(), stdout=log, stderr=log, cwd=self.folder)
        deadline = time.monotonic() + READY_S
        while time.monotonic() < deadline:
            if self._child.poll() is not None:
                break
            with contextlib.suppress(OSError):
                if self.ready():
                    return
            time.sleep(0.02)  # between two looks at a named condition
        self.end(signal.SIGKILL)
        raise RuntimeError(f"{self.command()[0]} does not answer:\n{(self.folder / 'log').read_text()[-2000:]}")

    def end(self, how: signal.Signals = signal.SIGTERM) -> None:
        """End it with that signal, and wait until it is gone."""
        if self._child is not None:
            self._child.send_signal(how)
            self._child.wait(READY_S)
            self._child = None


class VictoriaMetrics(Process):
    """Keeps milliseconds, no org, bucket or token; a server for whatever influxdb-client writes."""

    def command(self) -> list[str]:
        return [
            needed("victoria-metrics", "victoria-metrics"),
            f"-storageDataPath={self.folder / 'data'}",
            f"-httpListenAddr=127.0.0.1:{self.port}",
            "-retentionPeriod=100y",
            "-dedup.minScrapeInterval=1ms",
        ]

    def ready(self) -> bool:
        return get(f"{self.url}/health") == "OK"

    def flush(self) -> None:
        """Make what was written visible to queries."""
        get(f"{self.url}/internal/force_flush")

    def points(self, match: str = '{__name__!=""}') -> dict[str, dict[int, float]]:
        """Each series as text, and its values by time in ms, doubles seen as a failure."""
        self.flush()
        ask = urllib.parse.urlencode({"match[]": match, "start": 0, "end": 4_000_000_000})
        found: dict[str, dict[int, float]] = {}
        for line in get(f"{self.url}/api/v1/export?{ask}").splitlines():
            row = json.loads(line)
            labels = dict(row["metric"])
            name = labels.pop("__name__")
            series = name + "".join(f",{key}={labels[key]}" for key in sorted(labels))
            values = found.setdefault(series, {})
            for at, value in zip(row["timestamps"], row["values"], strict=True):
                assert at not in values, f"{series} holds two points at {at}"
                values[at] = value
        return found

    def ask(self, query: str, at_s: float) -> list[dict[str, Any]]:
        """Result of a query at one moment."""
        whole = get(f"{self.url}/api/v1/query?{urllib.parse.urlencode({'query': query, 'time': at_s})}")
        return list(json.loads(whole)["data"]["result"])

    def ask_range(self, query: str, start_s: float, end_s: float, step_s: float) -> list[dict[str, Any]]:
        """Result of a query over a span."""
        ask = {"query": query, "start": start_s, "end": end_s, "step": step_s}
        whole = get(f"{self.url}/api/v1/query_range?{urllib.parse.urlencode(ask)}")
        return list(json.loads(whole)["data"]["result"])

    def disk_bytes(self) -> int:
        """Size of all its data, once it is stopped or flushed."""
        return sum(path.stat().st_size for path in (self.folder / "data").rglob("*") if path.is_file())


class Auth(Process):
    """vmauth before a VictoriaMetrics: takes one token only."""

    def __init__(self, folder: Path, token: str, behind: str) -> None:
        super().__init__(folder)
        self.token, self.behind = token, behind

    def command(self) -> list[str]:
        users = self.folder / "users.yml"
        users.write_text(f'users:\n- bearer_token: "{self.token}"\n  url_prefix: "{self.behind}"\n')
        return [
            needed("vmauth", "victoria-metrics"),
            f"-auth.config={users}",
            f"-httpListenAddr=127.0.0.1:{self.port}",
        ]

    def ready(self) -> bool:
        try:
            get(f"{self.url}/health")
        except urllib.error.HTTPError:
            return True
        return True


class InfluxServer(Process):
    """InfluxDB 1.6: one database, nanoseconds, nothing lost on a kill."""

    database = "keyoff"

    def command(self) -> list[str]:
        config = self.folder / "influxdb.conf"
        if not config.exists():
            data = self.folder / "data"
            config.write_text(
                "reporting-enabled = false\n"
                f'bind-address = "127.0.0.1:{free_port()}"\n'
                f'[meta]\ndir = "{data / "meta"}"\n'
                f'[data]\ndir = "{data / "data"}"\nwal-dir = "{data / "wal"}"\n'
                "[monitor]\nstore-enabled = false\n"
                f'[http]\nbind-address = "127.0.0.1:{self.port}"\nlog-enabled = false\n'
            )
        return [needed("influxd", "influxdb"), "-config", str(config)]

    def ready(self) -> bool:
        get(f"{self.url}/ping")
        return True

    def start(self) -> None:
        super().start()
        self.ask(f'CREATE DATABASE "{self.database}"', post=True)

    def ask(self, query: str, post: bool = False) -> list[dict[str, Any]]:
        """Series of a query's result, times in ns."""
        ask = urllib.parse.urlencode({"db": self.database, "q": query, "epoch": "ns"})
        body = ask.encode() if post else None
        url = f"{self.url}/query" if post else f"{self.url}/query?{ask}"
        with urllib.request.urlopen(url, body, timeout=READY_S) as answer:
            result = json.loads(answer.read())["results"][0]
        assert "error" not in result, result
        return list(result.get("series", []))

    def points(self, measurement: str) -> dict[tuple[str, ...], dict[int, dict[str, float]]]:
        """By tags (name=value, sorted): by time in µs: the known fields."""
        found: dict[tuple[str, ...], dict[int, dict[str, float]]] = {}
        for series in self.ask(f'SELECT * FROM "{measurement}" GROUP BY *'):
            tags = tuple(f"{key}={value}" for key, value in sorted(series.get("tags", {}).items()))
            values = found.setdefault(tags, {})
            for at_ns, *row in series["values"]:
                known = {k: v for k, v in zip(series["columns"][1:], row, strict=True) if v is not None}
                assert at_ns // 1000 not in values
                values[at_ns // 1000] = known
        return found


def lines_of(bodies: Sequence[str]) -> list[str]:
    """The lines of requests."""
    return [line for body in bodies for line in body.split("\n") if line]
