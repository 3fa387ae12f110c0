"""Time of arrival for what carries none: the wall clock, held to a clock that nobody can set.

The wall clock is read once and from then on carried by the monotonic clock, so small corrections by a time server do
not move data time. A larger difference means that the clock was set. Forwards the new time is believed (a computer
without a battery-backed clock wakes up in the past and finds the right time minutes later); backwards data time goes
on as if nothing had happened, since it may not repeat, until the wall clock has caught up. Both are reported.
"""

from __future__ import annotations

import time
from collections.abc import Callable

SET_US = 2_000_000  # our choice: time servers correct less than this by slewing or by steps too small to see


def since_boot() -> float:
    """Seconds that go on while the computer sleeps, where the system has such a clock."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class ArrivalClock:
    """µs UTC of arrivals, strictly increasing, also after `floor_us`, the last time given before a restart.

    >>> clock = ArrivalClock(monotonic=lambda: 5.0, wall=lambda: 1.7e9)
    >>> clock.now(), clock.now()
    (1700000000000000, 1700000000000001)
    """

    def __init__(
        self,
        floor_us: int | None = None,
        monotonic: Callable[[], float] = since_boot,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._monotonic = monotonic
        self._wall = wall
        self._last = -1 if floor_us is None else floor_us
        self._steps: list[tuple[int, float]] = []
        now, difference = self._look()
        self._known = difference  # wall − monotonic, when last believed
        self._offset = max(difference, self._last + 1 - now)  # data time − monotonic
        if difference < self._offset - SET_US:
            self._steps.append((self._last + 1, (difference - self._offset) / 1e6))

    def now(self) -> int:
        """The time now; later than all given before."""
        return self.spread(1)[0]

    def spread(self, count: int) -> list[int]:
        """Times of `count` arrivals, evenly between the last time given, or `mark` if that was later, and now."""
        now = self.peek()
        before = self._last
        now = max(now, before + count)
        self._last = now
        return [before + (now - before) * (i + 1) // count for i in range(count)]

    def mark(self) -> None:
        """Nothing has arrived until now: the next arrivals are later than this."""
        self._last = max(self._last, self.peek())

    def peek(self) -> int:
        """The time now, which may be given again."""
        now, difference = self._look()
        change = difference - self._known
        if abs(change) > SET_US:
            self._known = difference
            forwards = max(difference - self._offset, 0)
            self._offset += forwards
            self._last += forwards  # arrivals are not spread over time that did not pass
            self._steps.append((now + self._offset, change / 1e6))
        return now + self._offset

    def take_steps(self) -> tuple[tuple[int, float], ...]:
        """(µs UTC after it, seconds) of each time the wall clock was set since the last call."""
        steps, self._steps = tuple(self._steps), []
        return steps

    def _look(self) -> tuple[int, int]:
        """Monotonic time, and wall clock − it; µs."""
        now = round(self._monotonic() * 1e6)
        return now, round(self._wall() * 1e6) - now


class CountingClock:
    """Times that count from when the logger was switched on → µs UTC; the logger's own intervals are kept.

    A count that goes back, or that runs away from the time of arrival, is put to the time of arrival anew.
    """

    _APART_US = 30_000_000  # our choice: a crystal of 50 ppm needs a week; what comes in bundles is not late by so much
    _BACK_US = 2_000_000  # our choice, as for rows out of order

    def __init__(self) -> None:
        self._offset: int | None = None
        self._last = 0

    def at(self, count_us: int, arrived_us: int) -> int:
        """The time of what the logger counted as `count_us` and that arrived then.

        >>> clock = CountingClock()
        >>> [clock.at(count, arrived) for count, arrived in ((100, 5000), (300, 5900), (400, 5950))]
        [5000, 5200, 5300]
        """
        restarted = count_us < self._last - self._BACK_US
        if self._offset is None or restarted or abs(arrived_us - count_us - self._offset) > self._APART_US:
            self._offset = arrived_us - count_us
        self._last = count_us
        return count_us + self._offset
