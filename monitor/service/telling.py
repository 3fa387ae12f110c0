"""The service's log on stderr: one line an event, repeated errors counted and limited, a recovery said once.

Levels by meaning: info = what it does; warning = surprising, nothing lost; error = data lost or a person needed.
"""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Callable, Mapping
from typing import IO

from monitor.base.errors import printable
from monitor.base.secrets import without
from monitor.views.words import length, plain

LOG = logging.getLogger("keyoff")
AGAIN_S = 600.0  # our choice: a trouble that goes on is told again at most so often
PRIORITIES = {logging.DEBUG: 7, logging.INFO: 6, logging.WARNING: 4, logging.ERROR: 3, logging.CRITICAL: 2}  # syslog's


class Line(logging.Formatter):
    """One printable line without secrets; under systemd with its priority and without the time, which it adds."""

    def __init__(self, systemd: bool, secrets: Callable[[], list[str]]) -> None:
        super().__init__(datefmt="%Y-%m-%dT%H:%M:%S%z")
        self._systemd = systemd
        self._secrets = secrets

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        text = record.getMessage()
        if record.exc_info:
            text += " | " + self.formatException(record.exc_info).replace("\n", " | ")
        text = printable(without(text, *self._secrets()))
        if self._systemd:
            return f"<{PRIORITIES.get(record.levelno, 6)}>{text}"
        return f"{self.formatTime(record, self.datefmt)} {record.levelname.lower()} {text}"


def set_up(
    environment: Mapping[str, str], secrets: Callable[[], list[str]] = list, out: IO[str] | None = None
) -> logging.Handler:
    """Let the service's log go to stderr (or `out`), and nothing else of any library below a warning."""
    handler = logging.StreamHandler(out or sys.stderr)
    handler.setFormatter(Line("JOURNAL_STREAM" in environment, secrets))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("apscheduler").setLevel(logging.CRITICAL)  # its jobs tell their own troubles
    LOG.setLevel(logging.INFO)
    return handler


class Telling:
    """Troubles that stand: each told when it comes, again at most every AGAIN_S with its age, and when it is over.

    >>> shown = []
    >>> told = Telling("van", lambda level, text: shown.append(text), iter([0.0, 40.0, 90.0]).__next__)
    >>> told.stands("disk", "disk full"); told.stands("disk", "disk full"); told.over("disk", "room")
    >>> shown
    ['van: disk full', 'van: room (recovered after 1 min 30 s)']
    """

    def __init__(
        self,
        name: str,
        say: Callable[[int, str], None] = LOG.log,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._name, self._say, self._clock = name, say, clock
        self._standing: dict[str, tuple[str, float, float]] = {}  # key → text, since when, last told

    def stands(self, key: str, text: str, level: int = logging.ERROR) -> None:
        """The trouble `key` is there (still, or again)."""
        now = self._clock()
        before, since, told = self._standing.get(key, ("", now, -AGAIN_S))
        if text != before or now - told >= AGAIN_S:
            more = f" (for {plain(length(now - since))} now)" if text == before else ""
            self._say(level, f"{self._name}: {text}{more}")
            told = now
        self._standing[key] = (text, since, told)

    def over(self, key: str, text: str | None = None) -> None:
        """It is gone; said once, and only if it was there."""
        gone = self._standing.pop(key, None)
        if gone is not None:
            lasted = plain(length(self._clock() - gone[1]))
            self._say(logging.INFO, f"{self._name}: {text or gone[0]} (recovered after {lasted})")

    def standing(self) -> list[str]:
        """What stands, as text."""
        return [text for text, _, _ in self._standing.values()]
