"""How `keyoff` starts and ends: quick, with an example for each command, and errors in two lines."""

import json
import subprocess
import sys
import time

import pytest

from monitor import __version__
from monitor.base.results import Result
from monitor.cli import main
from monitor.cli.app import COMMANDS, app
from tests.cli.run import DEADLINE_S, KEYOFF, keyoff

HEAVY = ("numpy", "pyarrow", "pydantic", "scipy", "pint", "rich", "hypothesis")


def imported_by(*words: str) -> set[str]:
    code = f"""
import sys
sys.argv[1:] = {list(words)!r}
from monitor.cli import main
code = main()
print("imported:", *sys.modules)
sys.exit(code)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", timeout=DEADLINE_S)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.partition("imported: ")[2].split())


def test_the_version_is_told() -> None:
    done = keyoff("--version")
    assert (done.stdout, done.stderr, done.returncode) == (f"keyoff {__version__}\n", "", 0)


def test_the_version_is_answered_before_the_command_line_library_is_imported() -> None:
    assert "typer" not in imported_by("--version")


@pytest.mark.parametrize("words", [["--version"], ["--help"], ["--help", "--version"]])
def test_version_and_help_import_nothing_heavy(words: list[str]) -> None:
    imported = imported_by(*words)
    assert "monitor.cli.entry" in imported
    assert imported.isdisjoint(HEAVY)


def test_the_version_comes_within_150_ms_of_an_empty_program() -> None:
    def quickest(command: list[str]) -> float:
        taken = []
        for _ in range(5):  # the quickest of five: a busy machine only ever adds time
            began = time.perf_counter()
            subprocess.run(command, check=True, capture_output=True, timeout=DEADLINE_S)
            taken.append(time.perf_counter() - began)
        return min(taken)

    assert quickest([*KEYOFF, "--version"]) - quickest([sys.executable, "-c", "pass"]) < 0.150


def registered() -> list[str]:
    return [command.name or "" for command in app.registered_commands]


def test_every_command_that_is_named_is_there() -> None:
    assert registered() == list(COMMANDS)


def test_the_help_of_a_command_does_not_load_the_engine() -> None:
    assert imported_by("replay", "--help").isdisjoint({"numpy", "pyarrow", "scipy", "pint"})


@pytest.mark.parametrize("command", registered())
def test_the_help_of_each_command_has_an_example_of_it(command: str) -> None:
    text = keyoff(command, "--help").stdout
    assert f"Example: keyoff {command}" in " ".join(text.split())


def test_no_command_at_all_shows_the_help() -> None:
    done = keyoff()
    assert done.returncode == 0
    assert "Usage:" in done.stdout
    assert "Example: keyoff replay" in done.stdout


WRONG = {
    "an unknown command": (["repaly"], "No such command 'repaly'"),
    "an unknown option": (["replay", "a.csv", "--fro", "x"], "--fro"),
    "no log": (["replay"], "LOG"),
    "a choice that is none": (["replay", "a.csv", "--current-sign", "up"], "'as-logged', 'reversed'"),
    "a missing vehicle file": (["replay", "a.csv", "--vehicle", "nowhere.toml"], "nowhere.toml: no such file"),
    "a time that is none": (["replay", "a.csv", "--from", "noon"], "--from: expected an ISO 8601 time"),
    "an end before the start": (["replay", "a.csv", "--from", "2025-01-02", "--to", "2025-01-01"], "not later"),
    "a log that is not there": (["replay", "no-such-log.csv"], "no-such-log.csv"),
    "an escape sequence": (["replay", "a\x1b[31m.csv"], "a?[31m.csv"),
}


@pytest.mark.parametrize(("words", "said"), WRONG.values(), ids=WRONG.keys())
def test_an_error_is_two_lines_on_stderr_and_exit_code_2(words: list[str], said: str) -> None:
    done = keyoff(*words)
    what, remedy = done.stderr.splitlines()
    assert what.startswith("Error: ")
    assert said in what
    assert remedy.startswith("Try: ")
    assert (done.stdout, done.returncode) == ("", 2)


def test_a_fault_of_the_program_is_two_lines_and_exit_code_70(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(self: object, *words: object, **options: object) -> None:
        raise ZeroDivisionError("broken on\npurpose")

    monkeypatch.setattr("typer.Typer.__call__", broken)
    monkeypatch.setattr(sys, "argv", ["keyoff", "schema"])
    assert main() == 70
    what, remedy = capsys.readouterr().err.splitlines()
    assert what == "Error: a fault of the program itself: ZeroDivisionError: broken on purpose"
    assert remedy.startswith("Try: ")
    monkeypatch.setenv("KEYOFF_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        main()


@pytest.mark.parametrize("words", [["schema"], ["--help"], ["--version"]])
def test_a_reader_that_went_away_ends_the_program_quietly(words: list[str]) -> None:
    with subprocess.Popen([*KEYOFF, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        said = running.stderr.read()
        assert running.wait(DEADLINE_S) == 1
    assert said == b""


def test_the_schema_describes_the_keys_of_the_result_document() -> None:
    schema = json.loads(keyoff("schema").stdout)
    assert set(schema["properties"]) == {name for name, kept in Result.model_fields.items() if not kept.exclude}
    assert schema["$defs"]["Stand"]["properties"]["start"] == {
        "format": "date-time",
        "title": "Start",
        "type": "string",
    }


def test_the_schema_of_the_vehicle_file_names_its_tables() -> None:
    tables = set(json.loads(keyoff("schema", "--vehicle").stdout)["properties"])
    assert tables == {
        "name", "battery", "log", "vehicle", "source", "store", "notices", "database", "broker", "instrument",
    }  # fmt: skip
