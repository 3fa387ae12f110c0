"""`keyoff watch` in a process of its own, with what surrounds a service, and what the system says of its cost."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType

import psutil

from monitor.store.home import Home, slug
from monitor.store.reader import JournalReader
from tests.bench.measure import PYTHON

HOUSE = Path(__file__).parents[2]
PLAIN = Path(__file__).with_name("plain")  # hides what a plain installation has not
KEYOFF = str(Path(PYTHON).with_name("keyoff"))
PATIENCE_S = 120.0
LOOK_S = 0.05
MIB = 2**20
DAY_S = 86_400.0


def until(what: str, condition: Callable[[], bool], patience_s: float = PATIENCE_S) -> None:
    """Wait for a named condition."""
    deadline = time.monotonic() + patience_s
    while not condition():
        if time.monotonic() > deadline:
            raise RuntimeError(f"not within {patience_s:g} s: {what}")
        time.sleep(LOOK_S)  # between two looks


@dataclass(frozen=True)
class Cost:
    """What a process took between two looks: seconds, processor seconds, bytes written to the disk and by calls."""

    wall_s: float
    cpu_s: float
    disk_bytes: int
    called_bytes: int

    @property
    def core(self) -> float:
        """Share of one core, %."""
        return 100.0 * self.cpu_s / self.wall_s

    @property
    def disk_mb_day(self) -> float:
        """MB a day that reach the block layer."""
        return self.disk_bytes / self.wall_s * DAY_S / 1e6


class Watched:
    """A running service."""

    def __init__(self, folder: Path, process: subprocess.Popen[bytes], log: Path) -> None:
        self.folder, self.process, self.log = folder, process, log
        self._seen = psutil.Process(process.pid)

    def home(self, name: str) -> Home:
        return Home(self.folder / "data" / slug(name))

    def look(self) -> tuple[float, float, int, int]:
        """Monotonic and processor seconds, bytes to the disk, bytes given to write calls, so far."""
        times, written = self._seen.cpu_times(), _written(self.process.pid)
        return time.monotonic(), times.user + times.system, written["write_bytes"], written["wchar"]

    def cost(self, before: tuple[float, float, int, int]) -> Cost:
        """Since that look."""
        wall_s, cpu_s, disk, called = (b - a for a, b in zip(before, self.look(), strict=True))
        return Cost(wall_s, cpu_s, int(disk), int(called))

    def memory_mib(self) -> tuple[float, float]:
        """Resident now, and its peak."""
        lines = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii").splitlines()
        sizes = {line.partition(":")[0]: line.split()[1] for line in lines if line.startswith(("VmRSS", "VmHWM"))}
        return int(sizes["VmRSS"]) / 1024, int(sizes["VmHWM"]) / 1024

    def threads(self) -> int:
        return int(self._seen.num_threads())

    def alive(self) -> None:
        """Raise when it is not."""
        if self.process.poll() is not None:
            raise RuntimeError(f"keyoff watch ended with {self.process.returncode}:\n{self.log.read_text()[-3000:]}")

    def has(self, name: str, last_us: int, patience_s: float = PATIENCE_S) -> None:
        """Wait until the journal holds the sample of that time."""

        def there() -> bool:
            self.alive()
            if not self.home(name).journal.exists():
                return False
            with JournalReader(self.home(name)) as reader:
                return (reader.last_sample_us() or 0) >= last_us

        until(f"{name}: the last sample is in the journal; its log:\n{self.log}", there, patience_s)

    def samples(self, name: str, since_us: int) -> int:
        """Samples in the journal from a time on."""
        with JournalReader(self.home(name)) as reader:
            blocks = list(reader.blocks(since_us))
        return sum(len(block) for block in blocks if not isinstance(block, int))


def _written(pid: int) -> Mapping[str, int]:
    lines = Path(f"/proc/{pid}/io").read_text(encoding="ascii").splitlines()
    return {key: int(number) for key, number in (line.split(": ") for line in lines)}


@contextmanager
def watch(
    folder: Path, files: Sequence[str], command: Sequence[str] = (KEYOFF, "watch"), **environment: str
) -> Iterator[Watched]:
    """Start the service on vehicle files in `folder`, and end it."""
    log = folder / "service.log"
    whole = os.environ | {"PYTHONPATH": f"{PLAIN}{os.pathsep}{HOUSE}"} | environment
    with log.open("ab") as out:
        words = [*command, *files, "--data", "data"]
        process = subprocess.Popen(words, cwd=folder, stdout=out, stderr=out, env=whole)
    try:
        yield Watched(folder, process, log)
        process.send_signal(signal.SIGTERM)
        if process.wait(PATIENCE_S) != 0:
            raise RuntimeError(f"keyoff watch ended with {process.returncode}:\n{log.read_text()[-3000:]}")
    finally:
        process.kill()
        process.wait()


class Listener:
    """An HTTP listener on the loopback interface: takes what is posted, counts it, and answers 204.

    heard  wall-clock seconds at which each request came, and its body's size
    """

    def __init__(self) -> None:
        heard: list[tuple[float, int]] = []

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                size = int(self.headers.get("Content-Length", "0"))
                self.rfile.read(size)
                heard.append((time.time(), size))
                self.send_response(204)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.heard = heard
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def __enter__(self) -> Listener:
        return self

    def __exit__(self, kind: type[BaseException] | None, wrong: BaseException | None, at: TracebackType | None) -> None:
        self._server.shutdown()
        self._server.server_close()
