"""Two programs and one port: the second is told so, and takes over once the first has gone, however it went."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.sources.live import open_live
from tests.sources.live.conftest import Said, car, until, until_state
from tests.sources.live.wires import HEAD, Plug, plugged, rows

OWNER = """
import serial, sys
port = serial.Serial(sys.argv[1], exclusive=True)
print("has it", flush=True)
sys.stdin.read()
"""
THIEF = """
import os, select, sys
port = os.open(sys.argv[1], os.O_RDONLY | os.O_NOCTTY)
print("reads", flush=True)
while select.select([port], [], []):
    os.read(port, 4096)
"""


@contextmanager
def another(code: str, plug: Plug) -> Iterator[subprocess.Popen[str]]:
    """Another program on the same port, in a process of its own; it has the port once this is entered."""
    words = [sys.executable, "-c", code, str(plug.path)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline().strip() in ("has it", "reads")
            yield process
        finally:
            process.kill()


def test_a_port_that_another_program_has_is_named_and_taken_once_that_one_is_killed(tmp_path: Path) -> None:
    with plugged(tmp_path) as plug:
        logger = open_live(f"serial:{plug.path}", car())
        with another(OWNER, plug):
            said = until_state(logger, "port_taken")
            assert said.why == f"another program has the port: stop it (fuser -v {plug.path} names it)"
        until_state(logger, "opening", said)
        plug.send(HEAD + rows(20))
        until(logger, lambda s: len(s.t_us) >= 20, "20 rows", said)
        logger.close()


def test_our_port_is_locked_against_a_second_one_of_us(tmp_path: Path) -> None:
    with plugged(tmp_path) as plug:
        first, second = (open_live(f"serial:{plug.path}", car()) for _ in range(2))
        first.poll(0.0)
        until_state(second, "port_taken")
        plug.send(HEAD + rows(20))
        until(first, lambda s: len(s.t_us) >= 20, "20 rows at the first")
        first.close()
        until_state(second, "opening")
        second.close()


def test_a_program_that_asks_nobody_and_takes_the_bytes_is_noticed(tmp_path: Path) -> None:
    with plugged(tmp_path) as plug:
        logger = open_live(f"serial:{plug.path}", car())
        logger.poll(0.0)
        plug.send(HEAD + rows(20))
        said = until(logger, lambda s: len(s.t_us) >= 20, "20 rows")

        def taken(said: Said) -> bool:
            plug.send(rows(1, first=20 + len(said.arrivals)))
            return said.arrivals[-1].state == "port_taken"

        with another(THIEF, plug):
            until(logger, taken, "the port is taken", said)
            assert said.why.startswith("another program takes the logger's bytes")
        until(logger, lambda s: s.arrivals[-1].state == "opening", "the port is opened again", said)
        plug.send(rows(3, first=9000))
        until_state(logger, "speaking", said)
        logger.close()
