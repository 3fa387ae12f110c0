"""The fleet material of deploy/fleet against a real server that holds forwarded demo logs."""

import importlib.util
import json
import os
import re
import subprocess
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
import yaml

from monitor.base.samples import SECOND_US
from monitor.base.tables.database import DatabaseTable
from monitor.store.entries import Samples
from monitor.store.forwarder import Forwarder
from tests.live.demo import demo
from tests.live.servers import Auth, VictoriaMetrics, needed
from tests.store.forwarding import drain

FLEET = Path(__file__).parents[2] / "deploy" / "fleet"
DEMOS = ("module-wakes", "stops-sleeping")


def builder() -> ModuleType:
    spec = importlib.util.spec_from_file_location("build_dashboards", FLEET / "build_dashboards.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PAGES: dict[str, dict[str, Any]] = {
    path.name: json.loads(path.read_text(encoding="utf-8")) for path in sorted((FLEET / "dashboards").glob("*.json"))
}
QUERIES = [
    pytest.param(target, id=f"{name}: {panel['title']} {target['refId']}")
    for name, page in PAGES.items()
    for panel in page["panels"]
    for target in panel["targets"]
]


@pytest.fixture(scope="module")
def filled(metrics: VictoriaMetrics) -> tuple[VictoriaMetrics, int, int]:
    """The server with the demo logs, and the first and last second of one of them."""
    spans = []
    for name in DEMOS:
        vehicle, journal = demo(name)
        vehicle = vehicle.model_copy(update={"database": DatabaseTable(url=metrics.url)})
        drain(Forwarder(vehicle, lambda journal=journal: journal, journal.move))
        assert not journal.rejected
        blocks = [record.block for record in journal.records if isinstance(record, Samples)]
        spans.append((int(blocks[0].t_us[0]) // SECOND_US, int(blocks[-1].t_us[-1]) // SECOND_US + 1))
    metrics.flush()
    return metrics, *spans[0]


def asked(expression: str) -> str:
    """The query as the dashboard tool asks it, with its choices made."""
    for name, value in (("$vehicle", DEMOS[0]), ("$limits", ".*"), ("$__interval", "1h")):
        expression = expression.replace(name, value)
    assert "$" not in expression
    return expression


def test_the_pages_are_what_the_builder_writes() -> None:
    made = builder()
    for name, make in made.PAGES.items():
        assert (FLEET / "dashboards" / name).read_text(encoding="utf-8") == made.text(make()), name
    assert set(made.PAGES) == set(PAGES)


@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_a_page_is_well_formed(page: dict[str, Any]) -> None:
    source = yaml.safe_load((FLEET / "datasource.yaml").read_text())["datasources"][0]
    panels = page["panels"]
    assert len({panel["id"] for panel in panels}) == len(panels)
    taken: set[tuple[int, int]] = set()
    for panel in panels:
        place = panel["gridPos"]
        cells = {
            (x, y)
            for x in range(place["x"], place["x"] + place["w"])
            for y in range(place["y"], place["y"] + place["h"])
        }
        assert not taken & cells, f"{panel['title']} lies on another panel"
        assert place["x"] + place["w"] <= 24
        taken |= cells
        assert panel["title"]
        assert panel["description"]
        assert panel["targets"]
        for one in (panel, *panel["targets"]):
            assert one["datasource"] == {"type": source["type"], "uid": source["uid"]}
        assert [target["refId"] for target in panel["targets"]] == list("ABCDE"[: len(panel["targets"])])
    names = {choice["name"] for choice in page["templating"]["list"]}
    used = set(re.findall(r"\$(\w+)", " ".join(t["expr"] for panel in panels for t in panel["targets"])))
    assert used - {"__interval"} <= names


@pytest.mark.parametrize("target", QUERIES)
def test_every_query_returns_what_was_forwarded(
    filled: tuple[VictoriaMetrics, int, int], rolled_up: None, target: dict[str, Any]
) -> None:
    server, start_s, end_s = filled
    if target["instant"]:
        found = server.ask(asked(target["expr"]), end_s)
        values = [row["value"] for row in found]
    else:
        found = server.ask_range(asked(target["expr"]), start_s, end_s + 3600, 3600)
        values = [value for row in found for value in row["values"]]
    assert values, asked(target["expr"])
    shown = re.findall(r"{{(\w+)}}", target["legendFormat"])
    assert all(row["metric"].get(label) for row in found for label in shown)


@pytest.fixture(scope="module")
def rolled_up(filled: tuple[VictoriaMetrics, int, int]) -> None:
    """The rollup as the script runs it, up to now, twice."""
    server, start_s, _ = filled
    needed("vmalert", "victoria-metrics")
    days = (datetime.now(UTC).timestamp() - start_s) // 86_400 + 2
    for _ in range(2):
        done = subprocess.run(
            [FLEET / "rollup", server.url, f"{days:.0f}"], capture_output=True, text=True, timeout=300, check=False
        )
        assert done.returncode == 0, done.stderr[-2000:]
    server.flush()


def test_the_rollup_holds_the_lowest_and_highest_of_each_hour_once(
    filled: tuple[VictoriaMetrics, int, int], rolled_up: None
) -> None:
    server, start_s, end_s = filled
    _, journal = demo(DEMOS[0])
    blocks = [record.block for record in journal.records if isinstance(record, Samples)]
    hours = server.points(f'keyoff_hour_volts_min{{vehicle="{DEMOS[0]}"}}')
    ((_, stored),) = hours.items()
    assert (end_s - start_s) // 3600 - 1 <= len(stored) <= (end_s - start_s) // 3600 + 2
    at_ms = sorted(stored)[5]
    # a point of an hour is of the steps that begin in (its time − 1 h, its time], in ms
    first_us, last_us = (at_ms // 1000 - 3600) * SECOND_US, at_ms * 1000
    inside = [
        volts
        for block in blocks
        for t_us, volts in zip(block.t_us.tolist(), block.volts.tolist(), strict=True)
        if first_us + 10 * SECOND_US <= t_us < last_us + 10 * SECOND_US
    ]
    assert stored[at_ms] == min(inside)


def test_a_verdict_an_alarm_and_a_mark_are_there_for_the_fleet_page(filled: tuple[VictoriaMetrics, int, int]) -> None:
    server, _, end_s = filled
    told = server.ask("last_over_time(keyoff_verdict_told[9000d]) == 1", time.time())
    assert {row["metric"]["vehicle"]: row["metric"]["cause"] for row in told}["stops-sleeping"] == "drain"
    assert server.ask('last_over_time(keyoff_alarm_active{vehicle="module-wakes"}[1d])', end_s)[0]["value"][1] == "1"
    assert server.ask('last_over_time(keyoff_mark_set{vehicle="module-wakes",kind="fuse"}[1d])', end_s)


def test_the_compose_file_names_files_that_are_there_and_keeps_the_database_inside() -> None:
    compose = yaml.safe_load((FLEET / "compose.yaml").read_text(encoding="utf-8"))
    services = compose["services"]
    assert {"database", "door", "dashboards", "keyoff", "rollup"} <= set(services)
    assert "ports" not in services["database"]  # only the door, which asks for the token, is open
    for name, service in services.items():
        assert "image" in service or "build" in service, name
        assert service.get("restart") == "unless-stopped", name
        for volume in service.get("volumes", []):
            source = volume.split(":")[0]
            if source.startswith("."):
                assert (FLEET / source).exists(), f"{name}: {source}"
            else:
                assert source in compose["volumes"], f"{name}: {source}"
        for needs in service.get("depends_on", []):
            assert needs in services
    said = {f"{key}={value}" for service in services.values() for key, value in service.get("environment", {}).items()}
    secret = {text for text in said if re.search("TOKEN|PASSWORD", text.split("=")[0])}
    assert len(secret) == 2
    assert all(re.fullmatch(r"\w+=\$\{\w+:\?[^}]+}", text) for text in secret)  # from outside, or it does not start


def test_the_door_lets_vehicles_write_with_the_token_and_do_nothing_else(
    filled: tuple[VictoriaMetrics, int, int], tmp_path: Path
) -> None:
    """The door's own file, with the real program."""
    server, _, _ = filled

    class Door(Auth):
        def command(self) -> list[str]:
            config = (FLEET / "door.yml").read_text().replace("http://database:8428", server.url)
            (self.folder / "door.yml").write_text(config)
            os.environ["KEYOFF_TOKEN"] = self.token
            program = needed("vmauth", "victoria-metrics")
            return [program, f"-auth.config={self.folder / 'door.yml'}", f"-httpListenAddr=127.0.0.1:{self.port}"]

    door = Door(tmp_path, "a-token-of-the-fleet", server.url)
    try:
        door.start()
    finally:
        os.environ.pop("KEYOFF_TOKEN", None)
    try:
        vehicle, journal = demo("one-event")
        (tmp_path / "token").write_text(door.token)
        table = DatabaseTable(url=door.url, token=f"file:{tmp_path / 'token'}", samples="none", seconds=False)
        drain(Forwarder(vehicle.model_copy(update={"database": table}), lambda: journal, journal.move))
        assert journal.position == len(journal.records)
        assert server.points('keyoff_stand_length_s{vehicle="one-event"}')
        ask = urllib.request.Request(f"{door.url}/api/v1/query?query=up")
        ask.add_header("Authorization", f"Bearer {door.token}")
        with pytest.raises(urllib.error.HTTPError):
            urllib.request.urlopen(ask, timeout=60)
    finally:
        door.end()
