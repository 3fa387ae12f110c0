"""Time and peak memory of a process of its own.

This process must stay small: on Linux a child's peak counts from what its parent held when it was started.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

PYTHON = sys.executable
MIB = 1024  # ru_maxrss is in KiB


@dataclass(frozen=True)
class Run:
    """One run: wall-clock and processor seconds, peak memory in MiB, and what it printed."""

    wall_s: float
    cpu_s: float
    peak_mib: float
    output: bytes


def once(command: Sequence[str]) -> Run:
    """Run a command to its end; raises RuntimeError when it fails."""
    with tempfile.TemporaryFile() as output, tempfile.TemporaryFile() as errors:
        began = time.perf_counter()
        child = subprocess.Popen(command, stdout=output, stderr=errors)
        _, status, usage = os.wait4(child.pid, 0)
        wall_s = time.perf_counter() - began
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode:
            errors.seek(0)
            raise RuntimeError(f"{' '.join(command)} ended with {child.returncode}: {errors.read().decode()}")
        output.seek(0)
        return Run(wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / MIB, output.read())


def in_turn(commands: Mapping[str, Sequence[str]], times: int) -> dict[str, list[Run]]:
    """Run each command `times` times, in turn, so that a busy moment meets all of them; a round before warms up."""
    runs: dict[str, list[Run]] = {name: [] for name in commands}
    for turn in range(times + 1):
        for name, command in commands.items():
            run = once(command)
            if turn:
                runs[name].append(run)
    return runs


def wall_s(runs: list[Run]) -> float:
    """Median wall-clock seconds."""
    return statistics.median(run.wall_s for run in runs)


def cpu_s(runs: list[Run]) -> float:
    """Median processor seconds: less spoilt by what else the machine does."""
    return statistics.median(run.cpu_s for run in runs)


def peak_mib(runs: list[Run]) -> float:
    """Highest peak of memory."""
    return max(run.peak_mib for run in runs)


def usual_peak_mib(runs: list[Run]) -> float:
    """Median of the peaks of memory."""
    return statistics.median(run.peak_mib for run in runs)


def spread(runs: list[Run]) -> str:
    """Lowest and highest wall-clock seconds, for the table."""
    walls = [run.wall_s for run in runs]
    return f"{min(walls):.2f}-{max(walls):.2f}"
