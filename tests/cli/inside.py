"""Runs the command in this process: what a subprocess would do, without loading the libraries anew each time."""

import io
import sys
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from monitor.cli import main


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Done]


@pytest.fixture
def inside(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    def run(*words: object, answers: str = "", columns: int = 100) -> Done:
        monkeypatch.setattr(sys, "argv", ["keyoff", *map(str, words)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
        monkeypatch.setenv("COLUMNS", str(columns))
        code = main()
        said = capfd.readouterr()
        return Done(code, said.out, said.err)

    return run
