"""`keyoff confirm` as a person runs it, on the demo log of a repair half way and on a longer one of the same car."""

import json
from pathlib import Path

import pytest

from monitor.assess.confirm import Confirmation
from tests.cli.inside import Run, inside

__all__ = ["inside"]

LOGS = Path(__file__).parents[2] / "replay_logs"
DEMO = str(LOGS / "repair-half-way.csv.gz")
REPAIRED = "2025-04-11T12:13:12+02:00"  # 3.78 days into the scenario


def test_three_nights_after_the_demo_repair_are_not_yet_a_proof(inside: Run) -> None:
    found = Confirmation.model_validate(json.loads(inside("confirm", DEMO, "--repair-at", REPAIRED, "--json").stdout))
    assert (found.nights_before, found.nights_after) == (4, 3)
    assert (found.answer, found.further_nights) == ("not_yet", 2)
    by_name = {one.name: one for one in found.comparisons}
    assert by_name["sleep_current"].p == pytest.approx(1 / 35)
    assert by_name["sleep_current"].change == pytest.approx(-420, abs=1)  # the drain of the scenario
    assert by_name["wake_ups"].p < 1e-9


def test_three_more_nights_prove_it(inside: Run, tmp_path: Path) -> None:
    log = tmp_path / "ten-days.csv.gz"
    inside("simulate", LOGS / "repair-half-way.toml", "-o", log, "--days", "10", "--rate", "0.05")
    found = json.loads(inside("confirm", log, "--repair-at", REPAIRED, "--json").stdout)
    assert (found["answer"], found["nights_after"]) == ("proven", 6)


MARKS = """
[[marks]]
at = 2025-04-10T21:00:00
kind = "fuse out"
text = "F23"

[[marks]]
at = 2025-04-11T12:13:12
kind = "repair"
text = "lamp relay, door module"
"""


def test_marks_name_the_repair_and_get_their_effect(inside: Run, tmp_path: Path) -> None:
    (tmp_path / "marks.toml").write_text(MARKS)
    (tmp_path / "car.toml").write_text('[log]\ntime = { zone = "Europe/Oslo" }\n')
    done = inside("confirm", DEMO, "--marks", tmp_path / "marks.toml", "--vehicle", tmp_path / "car.toml", columns=60)
    assert (done.returncode, done.stderr) == (0, "")
    assert max(len(line) for line in done.stdout.splitlines()) <= 60
    text = " ".join(done.stdout.split())
    assert "Not yet proven. It takes 2 more quiet nights." in text
    assert "Repair at Fri 11 Apr 2025 12:13 (Europe/Oslo); 4 nights before and 3 nights after it." in text
    assert "fuse out (F23): 441 mA before, 441 mA after" in text
    assert "Nothing changed in 61 min." in text
    assert "441 mA before, 21 mA after, change −420 mA" in text
    assert "has not come since" in text


WRONG = {
    "no repair": ([DEMO], "when was it repaired?"),
    "a time that is none": ([DEMO, "--repair-at", "noon"], "--repair-at: expected an ISO 8601 time"),
    "a time outside": ([DEMO, "--repair-at", "2026-01-01T12:00"], "is not within the log"),
    "a limit without unit": ([DEMO, "--repair-at", REPAIRED, "--limit", "50"], "its unit is missing"),
    "no marks": ([DEMO, "--marks", "nowhere.csv"], "nowhere.csv: no such file"),
    "no log": (["nowhere.csv", "--repair-at", REPAIRED], "nowhere.csv"),
}


@pytest.mark.parametrize(("words", "said"), WRONG.values(), ids=WRONG.keys())
def test_what_cannot_be_used_is_two_lines_and_exit_code_2(words: list[str], said: str, inside: Run) -> None:
    done = inside("confirm", *words)
    what, remedy = done.stderr.splitlines()
    assert said in what
    assert remedy.startswith("Try: ")
    assert (done.stdout, done.returncode) == ("", 2)
