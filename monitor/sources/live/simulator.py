"""The simulator as a source: the command `keyoff simulate` in a process of its own, and a connection to it."""

from __future__ import annotations

import select
import subprocess
import sys
import time
from collections.abc import Callable

from monitor.sources.live.network import TcpPort
from monitor.sources.live.transport import LinkError

_COMMAND = "import sys; from monitor.cli import main; sys.exit(main())"
_SPEAKING = "Speaking on tcp://"
_END_S = 2.0  # our choice: a process that has not ended by then is ended


class Simulator:
    """A simulated vehicle whose log begins now. It speaks once, and is over when its scenario is."""

    old = False

    def __init__(self, scenario: str, speed: float = 1.0, rest: Callable[[float], None] = time.sleep) -> None:
        self._words = ["simulate", scenario, "--live", "tcp://127.0.0.1:0", "--now", "--speed", f"{speed:g}"]
        self._rest = rest
        self._process: subprocess.Popen[str] | None = None
        self._port: TcpPort | None = None
        self._over = ""

    def connect(self) -> Simulator:
        """Start it; LinkError when it is over."""
        if self._over:
            raise LinkError("hung_up", self._over)
        self._process = subprocess.Popen(
            [sys.executable, "-c", _COMMAND, *self._words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        return self

    def read(self, timeout_s: float) -> bytes:
        """Bytes that have come."""
        if self._port is None:
            self._port = self._speaking(timeout_s)
            return b""
        try:
            return self._port.read(timeout_s)
        except LinkError:
            raise self._ended("the simulation is over: start keyoff again for another") from None

    def close(self) -> None:
        """End it."""
        if self._port is not None:
            self._port.close()
        process, self._port, self._process = self._process, None, None
        if process is None:
            return
        process.terminate()
        try:
            process.communicate(timeout=_END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()

    def _speaking(self, timeout_s: float) -> TcpPort | None:
        """The connection, once the process has said where it speaks."""
        process = self._process
        if process is None or process.stdout is None or process.stderr is None:
            raise self._ended("the simulation was closed")
        if not select.select([process.stdout], [], [], timeout_s)[0]:
            return None
        said = process.stdout.readline().strip()
        if not said.startswith(_SPEAKING):
            raise self._ended(f"the simulation did not start: {' '.join(process.stderr.read().split())}")
        host, _, port = said.removeprefix(_SPEAKING).rpartition(":")
        return TcpPort(host, int(port), self._rest)

    def _ended(self, why: str) -> LinkError:
        self._over = why
        return LinkError("hung_up", why)
