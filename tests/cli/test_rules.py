"""`keyoff rules` as a person runs it: the list, one preset, one limit, a file checked, and what can be wrong."""

import json
import re
from pathlib import Path

import pytest

from monitor.limits.quantities import QUANTITIES
from monitor.limits.rules_file import RulesFile
from monitor.store.rules_files import preset_folder, preset_names
from tests.cli.inside import Run, inside
from tests.cli.run import keyoff

__all__ = ["inside"]

MINE = """\
about = "my van"
extends = "start-stop-efb"

[limits.sleep-current]
high = { value = "60 mA", per_reserve = "0.25 mA per min" }
"""
CAR = """\
[battery]
kind = "efb"
reserve = "120 min"

[vehicle]
rules = "mine.toml"
"""


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def garage(tmp_path: Path) -> Path:
    (tmp_path / "mine.toml").write_text(MINE)
    (tmp_path / "car.toml").write_text(CAR)
    return tmp_path


def test_the_list_has_a_line_for_each_preset(inside: Run) -> None:
    done = inside("rules")
    assert (done.returncode, done.stderr) == (0, "")
    assert [line.split()[0] for line in done.stdout.splitlines() if re.match(r"[a-z]", line)][:-1] == preset_names()


@pytest.mark.parametrize("columns", [60, 120])
@pytest.mark.parametrize("preset", ["flooded", "stored", "truck-24v"])
def test_a_preset_is_told_within_the_terminal(preset: str, columns: int, inside: Run) -> None:
    done = inside("rules", preset, columns=columns)
    assert (done.returncode, done.stderr) == (0, "")
    assert max(len(line) for line in done.stdout.splitlines()) <= columns
    assert "service manual prevails" in flat(done.stdout)
    assert done.stdout.index("Critical") < done.stdout.index("High") < done.stdout.index("Medium")


def test_volts_are_told_for_the_battery_the_preset_is_for(inside: Run, tmp_path: Path) -> None:
    six = tmp_path / "six.toml"
    six.write_text('[battery]\nnominal = "6 V"\n')
    assert "charging_volts below 26.4 V for 25 min" in flat(inside("rules", "truck-24v").stdout)
    assert "charging_volts below 6.6 V for 45 min" in flat(inside("rules", "motorcycle", "--vehicle", six).stdout)


def test_one_limit_is_explained_with_cause_response_and_source(inside: Run) -> None:
    text = flat(inside("rules", "gel", "--limit", "over-voltage").stdout)
    assert "Above 15.2 V (15.2 V to 15.8 V by temperature)" in text
    assert "no flame, no spark" in text
    assert "Source A sheet for gel batteries" in text
    assert "Once it has lasted 5 min" in text
    assert "Below 15 V, for 30 s" in text


def test_what_a_vehicle_gets_rests_on_its_battery(garage: Path, inside: Run) -> None:
    done = inside("rules", "--vehicle", garage / "car.toml", "--limit", "sleep-current")
    assert "Above 30 mA. Rests on reserve capacity of 120 min: 0.25 mA per min." in flat(done.stdout)
    assert "Set in mine.toml; before that: 25 to 50 mA" in flat(done.stdout)


def test_rules_for_another_battery_are_told(garage: Path, inside: Run) -> None:
    text = flat(inside("rules", "gel", "--vehicle", garage / "car.toml").stdout)
    assert "Written for gel batteries; this one is efb." in text


def test_what_is_switched_off_is_named(inside: Run) -> None:
    assert "Switched off: charge-state, decay." in flat(inside("rules", "lifepo4").stdout)
    assert "Switched off in these rules." in flat(inside("rules", "lifepo4", "--limit", "decay").stdout)


def test_a_file_in_order_is_shown_and_ends_well(garage: Path, inside: Run) -> None:
    done = inside("rules", garage / "mine.toml")
    assert (done.returncode, done.stderr) == (0, "")
    assert "mine.toml: my van" in flat(done.stdout)


def test_a_file_that_is_not_ends_with_two_lines(garage: Path, inside: Run) -> None:
    (garage / "mine.toml").write_text(MINE.replace("sleep-current", "sleep-curent"))
    done = inside("rules", garage / "mine.toml")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        f"Error: {garage / 'mine.toml'}, line 4, limits.sleep-curent: expected its quantity; found nothing\n"
        "Try: did you mean [limits.sleep-current]?\n"
    )


@pytest.mark.parametrize(
    ("words", "what", "remedy"),
    [
        (["floded"], 'rules: no preset "floded"', 'did you mean "flooded"?'),
        (["nowhere.toml"], "nowhere.toml: no such file", "check the path"),
        (
            ["flooded", "--limit", "sleepcurrent"],
            'flooded has no limit "sleepcurrent"',
            'did you mean "sleep-current"?',
        ),
        (["--limit", "decay"], "--limit: of which rules?", "keyoff rules PRESET --limit decay"),
        (["flooded", "--vehicle", "nowhere.toml"], "nowhere.toml: no such file", ""),
        ([""], 'rules: no preset ""', "presets: common"),
    ],
)
def test_what_cannot_be_found_is_refused_with_the_nearest(
    words: list[str], what: str, remedy: str, inside: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = inside("rules", *words)
    assert done.returncode == 2
    assert what in done.stderr.splitlines()[0]
    assert remedy in done.stderr.splitlines()[1]


def test_json_holds_what_the_text_tells(garage: Path, inside: Run) -> None:
    data = json.loads(inside("rules", "--vehicle", garage / "car.toml", "--json").stdout)
    (sleep,) = [one for one in data["limits"] if one["name"] == "sleep-current"]
    assert (data["about"], sleep["high"], sleep["unit"], sleep["on_delay_s"]) == ("my van", 0.03, "A", 900.0)
    one = json.loads(inside("rules", "--vehicle", garage / "car.toml", "--json", "--limit", "sleep-current").stdout)
    assert one == sleep
    assert [one["name"] for one in json.loads(inside("rules", "--json").stdout)] == preset_names()


def test_every_quantity_is_told_with_an_example(inside: Run) -> None:
    text = inside("rules", "--quantities", columns=100).stdout
    for name, quantity in QUANTITIES.items():
        assert re.search(rf"^{name} ", text, re.MULTILINE)
        assert quantity.example in flat(text)
    table = json.loads(inside("rules", "--quantities", "--json").stdout)
    assert [row["name"] for row in table] == list(QUANTITIES)


def test_a_terminal_of_ascii_gets_ascii() -> None:
    done = keyoff("rules", "truck-24v", "--limit", "crank-minimum", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert "-18" in done.stdout


def test_the_schema_knows_every_key_and_takes_a_plain_setpoint(inside: Run) -> None:
    schema = json.loads(inside("schema", "--rules").stdout)
    assert set(schema["properties"]) == set(RulesFile.model_fields)
    table = schema["$defs"]["LimitTable"]["properties"]
    assert {"on_delay", "off_delay", "after", "window", "yields_to"} <= set(table)
    assert {"type": "string"} in schema["$defs"]["Setpoint"]["anyOf"]
    assert inside("schema", "--rules", "--vehicle").returncode == 2


def test_the_file_that_the_page_shows_is_in_order(tmp_path: Path, inside: Run) -> None:
    page = (preset_folder() / "README.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    (tmp_path / "mine.toml").write_text(shown, encoding="utf-8")
    done = inside("rules", tmp_path / "mine.toml", "--limit", "cold-cell")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Below 11 V" in done.stdout
