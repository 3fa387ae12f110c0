"""The README tells the truth: its commands exist and work, and the output it shows is today's.

After a wanted change, rewrite the shown output with KEYOFF_REWRITE=1 and read it before committing.
"""

import os
import re
import shlex
from pathlib import Path

import pytest

from monitor.cli.app import COMMANDS
from tests.cli.run import keyoff

HOUSE = Path(__file__).parents[2]
README = HOUSE / "README.md"
WIDTH = "100"
SHOWN = re.compile(r"^```console\n\$ (?P<command>.*)\n(?P<output>(?:.*\n)*?)```$", re.MULTILINE)


def shown() -> list[re.Match[str]]:
    return list(SHOWN.finditer(README.read_text(encoding="utf-8")))


LIVE = ("alarms",)  # commands that are shown beside a running service: tests/house/test_readme_service.py


def words_of(command: str) -> list[str]:
    program, *words = shlex.split(command)
    assert program == ".venv/bin/keyoff", program
    return words


def test_the_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    text = README.read_text(encoding="utf-8")
    parts = [text.index(words) for words in ("keeps turning up with a low battery", "./deploy/try", "./tests/run")]
    assert parts == sorted(parts)
    assert "\n## " not in text[: parts[0]]


def test_the_readme_shows_commands() -> None:
    assert {words_of(found["command"])[0] for found in shown()} == {"replay", "fuses", "confirm", "simulate", *LIVE}


@pytest.mark.parametrize(
    "command", [found["command"] for found in shown() if words_of(found["command"])[0] not in LIVE]
)
def test_each_command_of_the_readme_does_what_it_shows(command: str, tmp_path: Path) -> None:
    text = README.read_text(encoding="utf-8")
    (output,) = [found["output"] for found in SHOWN.finditer(text) if found["command"] == command]
    words = [str(HOUSE / word) if (HOUSE / word).is_file() else word for word in words_of(command)]
    done = keyoff(*words, at=tmp_path, COLUMNS=WIDTH)
    assert (done.returncode, done.stderr) == (0, "")
    if words[0] == "simulate":
        return
    if os.environ.get("KEYOFF_REWRITE"):
        README.write_text(text.replace(f"$ {command}\n{output}", f"$ {command}\n{done.stdout}"), encoding="utf-8")
        output = done.stdout
    assert output == done.stdout


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "CHANGELOG.md", "rules/README.md"])
def test_what_a_page_names_exists(page: str) -> None:
    text = (HOUSE / page).read_text(encoding="utf-8")
    scripts = re.findall(r"(?<![\w/])\./([\w./-]+)", text)
    places = re.findall(r"`((?:deploy|tests|monitor|rules|replay_logs)/[\w./-]*)`", text)
    assert [place for place in [*scripts, *places] if not (HOUSE / place).exists()] == []
    commands = re.findall(r"keyoff ([a-z]+)", text)
    assert set(commands) <= set(COMMANDS)


@pytest.mark.parametrize(
    "option", sorted(set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", README.read_text(encoding="utf-8"))))
)
def test_each_option_the_readme_names_is_in_some_help(option: str) -> None:
    helps = keyoff("--help").stdout + "".join(keyoff(command, "--help").stdout for command in COMMANDS)
    assert re.search(rf"{option}\b", helps)


def test_every_command_is_in_the_readme() -> None:
    text = README.read_text(encoding="utf-8")
    assert [command for command in COMMANDS if f"keyoff {command}" not in text] == []
