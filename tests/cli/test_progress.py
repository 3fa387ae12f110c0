"""The progress bar: seen by a person at a terminal, after a second, and gone when done."""

import io
import sys

import pytest

from monitor.cli import progress
from monitor.cli.progress import progress_bar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    return terminal


def test_a_long_log_shows_how_far_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = at_a_terminal(monkeypatch)
    monkeypatch.setattr(progress, "QUIET_S", 0.0)
    with progress_bar() as show:
        assert show is not None
        show(25, 100)
        drawn = terminal.getvalue()
    assert "Reading the log" in drawn
    assert "25%" in drawn
    assert terminal.getvalue().endswith("\x1b[2K")  # the line is erased: nothing of it stays above the text


def test_a_short_log_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = at_a_terminal(monkeypatch)
    with progress_bar() as show:
        assert show is not None
        show(100, 100)
    assert terminal.getvalue() == ""


def test_nothing_is_drawn_for_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress_bar() as show:
        assert show is None
