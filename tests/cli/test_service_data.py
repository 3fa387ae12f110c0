"""What a service has kept, read by replay and confirm: its own vehicle, limits and marks, without naming any file."""

import json
from pathlib import Path

import pytest

from monitor.base.documents import load_document
from monitor.base.orders import Order
from monitor.base.results import Mark
from monitor.base.vehicle import Vehicle
from monitor.sources import open_logs
from monitor.store.entries import Entry
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.rules_files import load_rules
from monitor.store.settings import FACT, keep_settings
from tests.cli.inside import Run, inside
from tests.store.making import unsynced

__all__ = ["inside"]

LOGS = Path(__file__).parents[2] / "replay_logs"
DEMO = LOGS / "repair-half-way.csv.gz"
REPAIRED_US = 1_744_366_392_000_000  # 2025-04-11T12:13:12+02:00, as the scenario has it
CAR = """
name = "van, blue"

[battery]
kind = "agm"
capacity = "70 Ah"

[log]
time = { zone = "Europe/Oslo" }
volts = "U"
zero_offset = "2 mA"

[source]
url = "file:elsewhere.csv"

[vehicle]
rules = "mine.toml"
"""
RULES = 'extends = "start-stop-agm"\n[limits.sleep-current]\nhigh = "60 mA"\n'


@pytest.fixture(scope="module")
def car(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A vehicle file, with limits of its own beside it."""
    file = tmp_path_factory.mktemp("car") / "car.toml"
    file.write_text(CAR)
    file.with_name("mine.toml").write_text(RULES)
    return file


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory, car: Path) -> Path:
    """What the service of that vehicle kept of the demo log."""
    home = Home(tmp_path_factory.mktemp("data") / "van-blue")
    home.folder.mkdir()
    vehicle = load_document(car, Vehicle)
    journal = Journal(home, connect=unsynced)
    keep_settings(journal, vehicle, load_rules(vehicle, car))
    log = open_logs([DEMO], Vehicle().log)
    for block in log.blocks():
        journal.commit(Entry(block=block, checkpoint={}))
    mark = Mark(at=REPAIRED_US, kind="repair", text="lamp relay")
    journal.commit(Entry(ledger=log.ledger, orders=[Order(id="m", at=mark.at, kind="mark", mark=mark)]))
    journal.close()
    return home.folder


def test_a_replay_knows_the_vehicle_and_its_limits_as_with_the_files(inside: Run, data: Path, car: Path) -> None:
    plain = car.with_name("plain.toml")  # the demo log has no column "U", a service's data none at all
    plain.write_text(CAR.replace('volts = "U"\n', ""))
    marks = car.with_name("marks.toml")
    marks.write_text('[[marks]]\nat = 2025-04-11T12:13:12+02:00\nkind = "repair"\ntext = "lamp relay"\n')
    known = inside("replay", data, "--json")
    named = inside("replay", DEMO, "--vehicle", plain, "--marks", marks, "--json")
    assert (known.returncode, known.stderr) == (named.returncode, named.stderr) == (0, "")
    found, wanted = json.loads(known.stdout), json.loads(named.stdout)
    assert found["vehicle"] == "van, blue"
    assert found["alarms"]
    assert found["alarms"] == wanted["alarms"]
    for key in ("stands", "drives", "marks", "verdict", "battery", "balance"):
        assert found[key] == wanted[key]


def test_a_replay_shows_the_vehicles_own_time(inside: Run, data: Path) -> None:
    assert "Europe/Oslo" in inside("replay", data.parent).stdout  # the folder above holds but this vehicle


def test_a_vehicle_file_goes_before_what_was_kept(inside: Run, data: Path, tmp_path: Path) -> None:
    (tmp_path / "other.toml").write_text('name = "other"\n')
    found = json.loads(inside("replay", data, "--vehicle", tmp_path / "other.toml", "--json").stdout)
    assert (found["vehicle"], found["alarms"]) == ("other", [])


def test_a_sign_found_wrong_afterwards_is_turned_round(inside: Run, data: Path) -> None:
    def net(*words: str) -> float:  # of one evening
        done = inside("replay", data, "--to", "2025-04-07T23:00", "--json", *words)
        found = json.loads(done.stdout)
        return float(sum(part["charge_in_ah"] - part["charge_out_ah"] for part in found["stands"] + found["drives"]))

    assert net() < -1
    assert net("--current-sign", "reversed") == pytest.approx(-net(), abs=2e-6)  # of two rounded sums each


def test_the_repair_that_was_marked_is_confirmed(inside: Run, data: Path) -> None:
    done = inside("confirm", data)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Repair at Fri 11 Apr 2025 12:13 (Europe/Oslo); 4 nights before and 3 nights after it." in done.stdout


def test_a_repair_without_its_time_of_day_is_refused(inside: Run, data: Path) -> None:
    done = inside("confirm", data, "--repair-at", "2025-04-11")
    assert done.returncode == 2
    assert "the time of day is missing" in done.stderr


def test_settings_that_this_version_cannot_read_are_not_known(inside: Run, data: Path) -> None:
    journal = Journal(Home(data), connect=unsynced)
    kept = journal.fact(FACT)
    assert kept is not None
    try:
        journal.note_fact(FACT, '{"vehicle": {"wings": 2}, "rules": 1}')
        assert json.loads(inside("replay", data, "--json").stdout)["vehicle"] == "unnamed"
    finally:
        journal.note_fact(FACT, kept)
        journal.close()


def test_several_vehicles_are_not_taken_for_one(inside: Run, data: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        Journal(Home(tmp_path / name), connect=unsynced).close()
    done = inside("replay", tmp_path)
    assert done.returncode == 2
    assert "the data of several vehicles" in done.stderr
