"""The tools that keep the house in order, run as part of the suite: style, types, rooms, package."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
DEADLINE_S = 300.0  # a cold type check on a slow board


def run(*command: str, at: Path = HOUSE) -> str:
    done = subprocess.run(command, cwd=at, capture_output=True, encoding="utf-8", timeout=DEADLINE_S)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_style_is_clean() -> None:
    run(sys.executable, "-m", "ruff", "check", "--no-cache", ".")


def test_format_is_the_formatters() -> None:
    run(sys.executable, "-m", "ruff", "format", "--no-cache", "--check", ".")


def test_types_are_strict_without_exempt_modules() -> None:
    assert "Success" in run(sys.executable, "-m", "mypy")


def lint_imports(at: Path) -> subprocess.CompletedProcess[str]:
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"
    return subprocess.run(
        [sys.executable, "-c", code], cwd=at, capture_output=True, encoding="utf-8", timeout=DEADLINE_S
    )


def test_imports_between_rooms_point_downwards_and_the_engine_is_pure() -> None:
    done = lint_imports(HOUSE)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("file", "line", "said"),
    [
        ("base/upwards.py", "import monitor.views", "Rooms: imports point downwards only BROKEN"),
        ("detect/clock.py", "import time", "no environment BROKEN"),
        ("attic/__init__.py", "", "Rooms: imports point downwards only"),
    ],
)
def test_a_wrong_import_or_an_unknown_room_is_found(tmp_path: Path, file: str, line: str, said: str) -> None:
    import shutil

    shutil.copytree(HOUSE / "monitor", tmp_path / "monitor", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(HOUSE / "pyproject.toml", tmp_path)
    wrong = tmp_path / "monitor" / file
    wrong.parent.mkdir(exist_ok=True)
    wrong.write_text(f'"""Wrong on purpose."""\n\n{line}\n')
    done = lint_imports(tmp_path)
    assert done.returncode != 0
    assert said in done.stdout + done.stderr


def test_the_wheel_carries_the_rules_and_the_licence(tmp_path: Path) -> None:
    run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path))
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    assert "monitor/rules/README.md" in names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert {name.split("/")[0] for name in names if ".dist-info" not in name} == {"monitor"}
