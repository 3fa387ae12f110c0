"""A silent logger: data time goes on without samples, so that what is due by time becomes due.

The time that passed is measured on the monotonic clock from the last sample on; a little less of it is told, so that a
sample that was on its way is not overtaken. While the service was down nobody can tell silence from absence: it
counts from the start.
"""

from __future__ import annotations

from dataclasses import dataclass

MINUTE_US = 60_000_000
QUIET_S = 60.0  # our choice: loggers that speak once a minute are not silent
BEHIND_S = 10.0  # our choice: how far what is told stays behind
FIRST_HOUR_S, LATER_S = (
    3600.0,
    600.0,
)  # our choice: each minute in the first hour, then each ten: the journal stays small


@dataclass(slots=True)
class Silence:
    """Says how far data time has gone on.

    >>> quiet = Silence(last_us=0)
    >>> quiet.spoke(100.0); [quiet.due(at) for at in (130.0, 161.0, 175.0, 235.0)]
    [None, None, 60000000, 120000000]
    """

    last_us: int | None = None
    _since_s: float | None = None
    _told_us: int = 0
    _next_s: float = 0.0

    def spoke(self, at_s: float) -> None:
        """Samples came at that monotonic time."""
        self._since_s = at_s
        self._next_s = at_s + QUIET_S

    def due(self, now_s: float) -> int | None:
        """Data time (µs, a whole minute) to go on to; None: nothing new to tell."""
        if self.last_us is None:
            return None
        if self._since_s is None:
            self.spoke(now_s)
        assert self._since_s is not None
        if now_s < self._next_s:
            return None
        quiet_s = now_s - self._since_s
        to_us = (self.last_us + int((quiet_s - BEHIND_S) * 1e6)) // MINUTE_US * MINUTE_US
        if to_us <= max(self._told_us, self.last_us):
            return None
        self._told_us = to_us
        self._next_s = now_s + (1.0 if quiet_s < FIRST_HOUR_S else LATER_S)
        return to_us
