"""This computer's clock: whether it is set at all, and its steps, seen against the clock that only ever counts on.

A small board without a battery clock starts in the past and is set by the network minutes later, or never. Whether the
clock is set is told from outside signs only; waiting for it is bounded, and what was measured meanwhile is kept.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

# No right clock is before this program was written; moved on with each release.
WRITTEN_US = 1_764_028_800_000_000  # 2025-11-25
SYNC_FOLDER = Path("/run/systemd/timesync")  # there while the system's time service runs
BEHIND_US = 3_600_000_000  # our choice: the last sample may be so far ahead, of a logger whose own clock is fast
STEP_US = (
    1_500_000  # our choice: beyond a leap second, whether stepped or smeared over a day; below any step that hurts
)
KEPT = 20  # steps kept to be shown; our choice


def now_us() -> int:
    """This computer's clock, µs UTC."""
    return time.time_ns() // 1000


def unset(wall_us: int, newest_us: int | None, folder: Path = SYNC_FOLDER) -> str | None:
    """Why the clock cannot be trusted yet, or None.

    newest_us  time of the newest sample that is kept
    """
    if wall_us < WRITTEN_US:
        return "the clock is before this program was written"
    if newest_us is not None and wall_us < newest_us - BEHIND_US:
        return "the clock is before the last sample"
    if folder.is_dir() and not (folder / "synchronized").exists():  # the file it makes once it has set the clock
        return "the time service has not set the clock yet"
    return None


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the clock: its time after it, and its size."""

    at_us: int
    size_us: int


@dataclass(slots=True)
class ClockWatch:
    """Compares the wall clock with the monotonic one at each look; a difference that jumps is a step.

    Slow changes (a leap second smeared over a day, the network trimming the rate) are followed and are no step.

    >>> wall, mono = [0], [0]
    >>> watch = ClockWatch(lambda: wall[0], lambda: mono[0] * 1000)
    >>> watch.look(), watch.steps
    (None, deque([], maxlen=20))
    >>> wall[0], mono[0] = 3_601_000_000, 1_000_000
    >>> watch.look()
    Step(at_us=3601000000, size_us=3600000000)
    """

    wall_us: Callable[[], int] = now_us
    mono_ns: Callable[[], int] = time.monotonic_ns
    steps: deque[Step] = field(default_factory=lambda: deque(maxlen=KEPT))
    _apart_us: int | None = None

    def look(self) -> Step | None:
        """The step since the last look, if there was one."""
        wall = self.wall_us()
        apart = wall - self.mono_ns() // 1000
        before, self._apart_us = self._apart_us, apart
        if before is None or abs(apart - before) < STEP_US:
            return None
        step = Step(wall, apart - before)
        self.steps.append(step)
        return step
