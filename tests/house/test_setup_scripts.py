"""The two commands of the README on computers that lack something: a plain message and exit code 2, no half set-up."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
SCRIPTS = ("deploy/try", "tests/run", ".ci/run")
NEEDED = ("bash", "cat", "cksum", "dirname", "env", "mkdir", "rm", "tail")  # beside Python, all that the scripts call
DEADLINE_S = 60.0

TOO_OLD = """case "$2" in *version_info*) exit 1;; esac; exit 99"""
NO_VENV = """case "$2" in *version_info*) exit 0;; *ensurepip*) exit 1;; esac; exit 99"""
BROKEN_VENV = (
    """case "$*" in *version_info*|*ensurepip*) exit 0;; "-m venv"*) echo "no space" >&2; exit 1;; esac; exit 99"""
)
NO_NETWORK = """case "$*" in
    *version_info*|*ensurepip*) exit 0;;
    "-m venv"*) mkdir -p "$4/bin"; cat "$0" >"$4/bin/python"; chmod +x "$4/bin/python"; exit 0;;
    "-m pip --version") test -x "${0%/*}/python"; exit;;
    "-m pip install"*) echo "ERROR: No matching distribution found for hatchling" >&2; exit 1;;
esac; exit 99"""

COMPUTERS = {
    "without Python": (None, "no Python 3.11 or later found", "apt install python3 python3-venv"),
    "with an old Python": (TOO_OLD, "no Python 3.11 or later found", "apt install python3 python3-venv"),
    "without the venv module": (NO_VENV, "no venv module", "apt install python3-venv"),
    "without room for a venv": (BROKEN_VENV, "no virtual environment could be made", "KEYOFF_VENV"),
    "without network": (NO_NETWORK, "the packages could not be installed", "check the network connection"),
}


@pytest.fixture
def tools(tmp_path: Path) -> Path:
    """A folder that is the whole PATH."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in (*NEEDED, "chmod"):
        real = shutil.which(name)
        assert real is not None, name
        (folder / name).symlink_to(real)
    return folder


def run(script: str, tools: Path, venv: Path, **more: str) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": str(tools), "KEYOFF_VENV": str(venv), "KEYOFF_TEST_VENV": str(venv), **more}
    return subprocess.run(
        ["/bin/bash", str(HOUSE / script)],
        cwd="/",
        env=environment,
        capture_output=True,
        encoding="utf-8",
        timeout=DEADLINE_S,
    )


@pytest.mark.parametrize(("python", "what", "remedy"), COMPUTERS.values(), ids=COMPUTERS.keys())
@pytest.mark.parametrize("script", SCRIPTS)
def test_a_computer_that_lacks_something_is_told_what_to_do(
    script: str, python: str | None, what: str, remedy: str, tools: Path, tmp_path: Path
) -> None:
    if python is not None:
        fake = tools / "python3"
        fake.write_text(f"#!/bin/bash\n{python}\n")
        fake.chmod(0o755)
    done = run(script, tools, tmp_path / "venv")
    error, attempt = done.stderr.splitlines()[-2:]
    assert error.startswith("Error: ")
    assert what in error
    assert attempt.startswith("Try: ")
    assert remedy in attempt
    assert done.returncode == 2


def test_a_named_python_comes_before_all_others(tools: Path, tmp_path: Path) -> None:
    for name, script in (("python3", "exit 99"), ("mine", NO_VENV)):
        (tools / name).write_text(f"#!/bin/bash\n{script}\n")
        (tools / name).chmod(0o755)
    done = run("deploy/try", tools, tmp_path / "venv", KEYOFF_PYTHON=str(tools / "mine"))
    assert f"{tools / 'mine'} has no venv module" in done.stderr


@pytest.mark.parametrize("script", SCRIPTS)
def test_each_script_may_be_run(script: str) -> None:
    assert os.access(HOUSE / script, os.X_OK)


def test_ci_runs_the_whole_suite_and_nothing_weaker() -> None:
    lines = [line for line in (HOUSE / ".ci/run").read_text().splitlines() if line and not line.startswith("#")]
    assert lines == ["set -euo pipefail", 'exec "$(dirname "${BASH_SOURCE[0]}")/../tests/run"']
