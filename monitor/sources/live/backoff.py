"""How long to wait before the next attempt: doubling up to a cap, scattered, and from the beginning after a success."""

from __future__ import annotations

import random
from collections.abc import Callable

FIRST_S = 0.5  # our choice: a plug that wobbled is back at once
MOST_S = 30.0  # our choice: nobody who replugs a logger waits longer; an absent one costs two attempts a minute


class Backoff:
    """Waits of `first_s`, doubled each time up to `most_s`, each made shorter by up to a quarter.

    >>> backoff = Backoff(jitter=lambda: 0.0)
    >>> [backoff.wait_s() for _ in range(8)]
    [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0]
    """

    def __init__(
        self, first_s: float = FIRST_S, most_s: float = MOST_S, jitter: Callable[[], float] = random.random
    ) -> None:
        self._first_s = first_s
        self._most_s = most_s
        self._jitter = jitter
        self._next_s = first_s

    def wait_s(self) -> float:
        """The next wait, in seconds."""
        wait = self._next_s
        self._next_s = min(2 * wait, self._most_s)
        return wait * (1.0 - 0.25 * self._jitter())

    def reset(self) -> None:
        """It worked: begin with the shortest wait next time."""
        self._next_s = self._first_s
