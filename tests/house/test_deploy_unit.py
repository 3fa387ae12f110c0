"""The service unit and the udev rules: understood by the system's own checker, closed as far as the work allows."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.app import COMMANDS

DEPLOY = Path(__file__).parents[2] / "deploy"
UNIT = DEPLOY / "keyoff.service"
RULES = DEPLOY / "99-keyoff.rules"
PROGRAM = "/opt/keyoff/bin/keyoff"
MOST_EXPOSURE = 20  # tenths, of 100: what is left is the network, the serial ports and a group to open them with
RULE = re.compile(r'[A-Z]+(\{\w+\})?(==|!=|\+=|=)"[^"]*"(, |$)')  # one match or assignment of udev(7)

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None and os.environ.get("CI") != "true", reason="apt install systemd"
)  # where CI=true its absence fails


def analysed(folder: Path, text: str, *words: str) -> subprocess.CompletedProcess[str]:
    """What systemd-analyze says of a unit; with a program that exists here in place of the installed one."""
    file = folder / "keyoff.service"
    file.write_text(text.replace(PROGRAM, sys.executable), encoding="utf-8")
    return subprocess.run(
        ["systemd-analyze", *words, f"./{file.name}"], cwd=folder, capture_output=True, text=True, timeout=60.0
    )


def verified(folder: Path, text: str) -> tuple[int, str]:
    done = analysed(folder, text, "verify")
    return done.returncode, done.stderr


@needs_systemd
def test_systemd_understands_every_line(tmp_path: Path) -> None:
    assert verified(tmp_path, UNIT.read_text(encoding="utf-8")) == (0, "")


@needs_systemd
def test_a_line_that_it_does_not_understand_would_be_found(tmp_path: Path) -> None:
    text = UNIT.read_text(encoding="utf-8").replace("ProtectHome=yes", "ProtectHomes=yes")
    assert "ProtectHomes" in verified(tmp_path, text)[1]


@needs_systemd
def test_little_is_exposed(tmp_path: Path) -> None:
    words = ("security", "--offline=true", f"--threshold={MOST_EXPOSURE}")
    done = analysed(tmp_path, UNIT.read_text(encoding="utf-8"), *words)
    assert done.returncode == 0, done.stdout
    open_wide = "[Service]\nType=notify\nExecStart=/bin/true\n"
    assert analysed(tmp_path, open_wide, *words).returncode != 0


def test_it_starts_a_command_that_there_is_and_reads_secrets_from_a_file_of_their_own() -> None:
    text = UNIT.read_text(encoding="utf-8")
    found = re.search(rf"^ExecStart={PROGRAM} (\w+) /etc/keyoff/\S+$", text, re.MULTILINE)
    assert found is not None
    assert found[1] in COMMANDS
    assert "EnvironmentFile=-/etc/keyoff/secrets" in text


def test_the_udev_rules_are_rules() -> None:
    lines = [line.lstrip("#") for line in RULES.read_text(encoding="utf-8").splitlines()]
    rules = [line for line in lines if line.startswith("ACTION")]
    assert len(rules) == 3
    for rule in rules:
        assert RULE.sub("", rule) == ""
    assert RULE.sub("", 'ACTION="add" SYMLINK+="x"') != ""  # a comma is missing
