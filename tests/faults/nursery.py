"""Starts the service many times over: one process loads the program, each service is a fork of it, killed as one is.

So a start costs what the service does at a start, and not the loading of libraries, and fifty kills take seconds.
"""

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

CODE = """
import os, sys
os.environ["OPENBLAS_NUM_THREADS"] = "1"
from pathlib import Path
import monitor.service.build
import apprise, apscheduler.executors.pool, apscheduler.schedulers.background, apscheduler.triggers.cron
from monitor.base.quantities import VOLTAGE, parse_quantity
from monitor.service.service import watch
parse_quantity("12 V", VOLTAGE)  # the units are loaded at the first one
files, data = [Path(name) for name in sys.argv[2:]], Path(sys.argv[1])
for _ in sys.stdin:
    child = os.fork()
    if not child:
        log = os.open(data.with_suffix(".log"), os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.dup2(log, 1), os.dup2(log, 2)
        try:
            watch(files, data)
        except BaseException as fault:  # a forked child must not run on into the tests
            os.write(2, f"the start failed: {fault!r}\\n".encode())
            os._exit(1)
    print(child, flush=True)
    os.waitpid(child, 0)
    print("gone", flush=True)
"""


class Nursery:
    """One service at a time."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process
        self.service: int | None = None

    def start(self) -> int:
        """A new service; its process."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        self.service = int(self._process.stdout.readline())
        return self.service

    def end(self, service: int, by: signal.Signals = signal.SIGKILL) -> None:
        """Kill the service, and wait until it is gone."""
        assert self._process.stdout is not None
        os.kill(service, by)
        assert self._process.stdout.readline() == "gone\n"
        self.service = None


@contextlib.contextmanager
def nursery(data: Path, *files: Path) -> Iterator[Nursery]:
    """A nursery for services of these vehicle files."""
    words = [sys.executable, "-c", CODE, str(data), *map(str, files)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        made = Nursery(process)
        try:
            yield made
        finally:
            if made.service is not None:
                made.end(made.service)
            process.kill()
