"""`keyoff fuses` as a person runs it: from the example, from answers, and with what can be wrong."""

import json
from pathlib import Path

import pytest

from monitor.assess.fuses import FuseSurvey
from tests.cli.inside import Run, inside
from tests.cli.run import keyoff

__all__ = ["inside"]

EXAMPLE = str(Path(__file__).parents[2] / "deploy" / "survey.csv")


@pytest.mark.parametrize("columns", [60, 120])
def test_the_example_is_told_within_the_terminal(columns: int, inside: Run) -> None:
    done = inside("fuses", EXAMPLE, "--plateau", "460 mA", "--celsius", "12", columns=columns)
    assert (done.returncode, done.stderr) == (0, "")
    assert max(len(line) for line in done.stdout.splitlines()) <= columns
    text = " ".join(done.stdout.split())
    assert "Together 257 mA (242 to 275 mA) of 460 mA asleep; unexplained 203 mA (185 to 218 mA)." in text
    assert "F11, F23 and F24 lie behind F2" in text
    assert "Look at what F23 feeds" in text
    for caution in ("everything asleep", "pull none", "never in amperes", "service manual prevails"):
        assert caution in text


def test_a_terminal_of_ascii_gets_ascii() -> None:
    done = keyoff("fuses", EXAMPLE, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert "mOhm" in done.stdout


def test_json_is_one_object_with_all_figures(inside: Run) -> None:
    done = inside("fuses", EXAMPLE, "--plateau", "0.46 A", "--json")
    found = FuseSurvey.model_validate(json.loads(done.stdout))
    assert found.agreement == "rest"
    assert found.plateau_a == 0.46
    assert len(found.readings) == 7


def test_without_a_file_it_asks_until_an_empty_name(inside: Run) -> None:
    done = inside("fuses", "--json", answers="F7\nato\n10\n0.77\n\nF9\n\n15\n0.48\n\n\n")
    assert done.returncode == 0, done.stderr
    found = FuseSurvey.model_validate(json.loads(done.stdout))
    assert [(one.fuse, one.family, round(one.amps, 4)) for one in found.readings] == [
        ("F7", "regular", 0.1),
        ("F9", "regular", 0.1),
    ]


def test_a_wrong_answer_is_told_and_asked_again(inside: Run) -> None:
    done = inside("fuses", "--json", answers="F7\nglass\n10\n0.77\n\nF7\nmini\n10\n0.74\n\n\n")
    assert 'found "glass"' in done.stderr
    assert json.loads(done.stdout)["readings"][0]["family"] == "mini"


def test_a_resistance_that_is_not_published_is_asked_for(inside: Run) -> None:
    done = inside("fuses", "--json", answers="F2\nmaxi\n40\n0.36\n\n1.45\n\n")
    assert "no published resistance for maxi 40 A" in done.stderr
    assert json.loads(done.stdout)["readings"][0]["source"] == "entered"


def test_no_answer_at_all_ends_it_with_two_lines(inside: Run) -> None:
    done = inside("fuses", answers="\n")
    assert done.returncode == 2
    assert "Error: no fuse was given" in done.stderr


WRONG = {
    "no file": (["nowhere.csv"], "nowhere.csv: no such file"),
    "a plateau without unit": ([EXAMPLE, "--plateau", "120"], '--plateau: "120": its unit is missing'),
    "a plateau of volts": ([EXAMPLE, "--plateau", "12 V"], "is not a unit of current"),
    "a plateau that charges": ([EXAMPLE, "--plateau", "-20 mA"], "expected a drain above zero"),
    "an impossible temperature": ([EXAMPLE, "--celsius", "400"], "less than or equal to 130"),
    "a log": ([str(Path(EXAMPLE).parents[1] / "replay_logs" / "sound-week.csv.gz")], "too large for a fuse survey"),
}


@pytest.mark.parametrize(("words", "said"), WRONG.values(), ids=WRONG.keys())
def test_what_cannot_be_used_is_two_lines_and_exit_code_2(words: list[str], said: str, inside: Run) -> None:
    done = inside("fuses", *words)
    what, remedy = done.stderr.splitlines()
    assert said in what
    assert remedy.startswith("Try: ")
    assert (done.stdout, done.returncode) == ("", 2)
