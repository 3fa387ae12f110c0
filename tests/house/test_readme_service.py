"""The overnight hunt of the README, as it stands there: a demo log plays the logger, and the output is today's."""

import gzip
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.run import keyoff
from tests.house.test_readme import HOUSE, LIVE, README, WIDTH, shown, words_of

DEADLINE_S = 120.0
COMMAND = "import sys; from monitor.cli import main; sys.exit(main())"


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The folder in which the README's service has read the whole demo log, and runs."""
    at = tmp_path_factory.mktemp("hunt")
    assert "gunzip -c replay_logs/stops-sleeping.csv.gz > night.csv" in README.read_text(encoding="utf-8")
    with gzip.open(HOUSE / "replay_logs" / "stops-sleeping.csv.gz") as packed, (at / "night.csv").open("wb") as plain:
        shutil.copyfileobj(packed, plain)
    rows = (at / "night.csv").read_bytes().count(b"\n")
    words = [sys.executable, "-c", COMMAND, "watch", str(HOUSE / "deploy" / "night.toml"), "--data", "data"]
    service = subprocess.Popen(words, cwd=at, stderr=subprocess.PIPE, text=True)
    try:
        deadline = time.monotonic() + DEADLINE_S
        while not read_all(at, rows):
            assert service.poll() is None, service.stderr and service.stderr.read()
            assert time.monotonic() < deadline, "the service has not read the demo log"
            time.sleep(0.2)  # between two looks
        yield at
        service.send_signal(signal.SIGTERM)
        assert service.wait(20) == 0
    finally:
        service.kill()
        service.communicate()


def read_all(at: Path, rows: int) -> bool:
    done = keyoff("status", "--data", "data", "--json", at=at)
    if done.returncode == 3 or not done.stdout:
        return False
    (vehicle,) = json.loads(done.stdout).values()
    return bool(vehicle["health"] and vehicle["health"]["samples"] >= rows - 1)  # all but the header


@pytest.mark.parametrize("command", [found["command"] for found in shown() if words_of(found["command"])[0] in LIVE])
def test_the_hunt_shows_what_the_readme_shows(watched: Path, command: str) -> None:
    (output,) = [found["output"] for found in shown() if found["command"] == command]
    done = keyoff(*words_of(command), at=watched, COLUMNS=WIDTH)
    assert (done.returncode, done.stderr) == (1, "")  # 1: alarms stand
    if os.environ.get("KEYOFF_REWRITE"):
        text = README.read_text(encoding="utf-8")
        README.write_text(text.replace(f"$ {command}\n{output}", f"$ {command}\n{done.stdout}"), encoding="utf-8")
        output = done.stdout
    assert output == done.stdout


def test_a_mark_a_hush_and_the_replay_of_the_folder_work_beside_it(watched: Path) -> None:
    for words in (["mark", "fuse 23 out", "--kind", "fuse_out", "--data", "data"], ["hush", "2h", "--data", "data"]):
        done = keyoff(*words, at=watched)
        assert (done.returncode, done.stderr) == (0, ""), words
    done = keyoff("replay", "data/car-grey", at=watched)
    assert done.returncode == 0, done.stderr
    assert "drain" in done.stdout
    assert "fuse 23 out" in done.stdout
