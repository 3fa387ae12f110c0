"""Runs the real service in a process of its own, and waits for what it says of itself."""

import contextlib
import os
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.base.health import Health
from monitor.service import health
from monitor.store.home import Home
from tests.cli.run import KEYOFF, keyoff

DEADLINE_S = 60.0  # far beyond what any wait here takes; reached only when something hangs


def until(what: str, condition: Callable[[], bool]) -> None:
    """Wait for a named condition."""
    deadline = time.monotonic() + DEADLINE_S
    while not condition():
        assert time.monotonic() < deadline, f"not within {DEADLINE_S:g} s: {what}"
        time.sleep(0.02)  # between two looks


@dataclass
class Running:
    """A service that runs, and its vehicle's files."""

    process: subprocess.Popen[str]
    folder: Path
    log: Path

    @property
    def home(self) -> Home:
        return Home(self.folder / "data" / "van")

    def health(self) -> Health | None:
        return health.read(self.home.health)

    def has(self, what: str, condition: Callable[[Health], bool]) -> Health:
        """Wait until the health file says so."""
        found: list[Health] = []

        def look() -> bool:
            now = self.health()
            if now is not None and now.pid == self.process.pid and condition(now):
                found.append(now)
            return bool(found)

        until(f"{what}; its log:\n{self.log.read_text()}", look)
        return found[0]

    def says(self, text: str) -> None:
        """Wait for a line of its log."""
        until(f'"{text}" in the log', lambda: text in self.log.read_text())

    def end(self) -> float:
        """SIGTERM; seconds until it was gone."""
        began = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        assert self.process.wait(DEADLINE_S) == 0
        return time.monotonic() - began

    def ask(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Another command on the same data."""
        return keyoff(*words, "--data", str(self.folder / "data"))


@contextlib.contextmanager
def service(folder: Path, *files: str, **environment: str) -> Iterator[Running]:
    """`keyoff watch` of vehicle files in `folder`."""
    log = folder / "service.log"
    with log.open("a") as out:
        words = [*KEYOFF, "watch", *(files or ("van.toml",)), "--data", "data"]
        process = subprocess.Popen(words, cwd=folder, stdout=out, stderr=out, text=True, env=os.environ | environment)
        try:
            yield Running(process, folder, log)
        finally:
            process.kill()
            process.wait()
