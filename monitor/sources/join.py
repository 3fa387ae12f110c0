"""Runs of several logs → one run in time order; where logs overlap, equal times become one sample."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.base.ledger import Ledger
from monitor.sources.combine import Run, combine, joined


@dataclass(slots=True)
class Part:
    """One log to join: its first time as far as known, and its runs, read only once its turn comes."""

    first_us: int
    runs: Iterator[Run]
    current: Run | None = field(default=None)

    def advance(self) -> None:
        """Go to the next run that holds anything; None at the end."""
        self.current = next((run for run in self.runs if len(run)), None)

    def take(self, until_us: int) -> Run | None:
        """The rows of the current run up to and including that time; None when there are none."""
        run = self.current
        if run is None or run.t_us[0] > until_us:
            return None
        cut = int(np.searchsorted(run.t_us, until_us, side="right"))
        if cut < len(run):
            self.current = run[cut:]
        else:
            self.advance()
        return run[:cut]


class Join:
    """Joins logs in time order.

    merged   rows that only filled what a row of another log lacked
    """

    def __init__(self, ledger: Ledger, channels: Sequence[str]) -> None:
        self._ledger = ledger
        self._channels = tuple(channels)
        self.merged = 0

    def runs(self, parts: Sequence[Part]) -> Iterator[Run]:
        """Runs of strictly increasing time with all the channels."""
        waiting = sorted(parts, key=lambda part: part.first_us)
        active: list[Part] = []
        newest: int | None = None
        while waiting or active:
            while waiting and (not active or waiting[0].first_us <= _frontier(active)):
                part = waiting.pop(0)
                part.advance()
                if part.current is not None:
                    active.append(part)
            if not active:
                return
            limit = _frontier(active)
            pieces = []
            for part in active:
                if (piece := part.take(limit)) is not None:
                    pieces.append(self._complete(self._newer(piece, newest)))
            active = [part for part in active if part.current is not None]
            run = pieces[0] if len(pieces) == 1 else self._combined(pieces)
            if len(run):
                newest = int(run.t_us[-1])
                yield run

    def _combined(self, pieces: Sequence[Run]) -> Run:
        done = combine(joined(pieces))
        self._ledger.duplicates += done.duplicates
        self.merged += int(np.count_nonzero(done.filled))
        return done.run

    def _newer(self, run: Run, newest: int | None) -> Run:
        """Without rows that come too late, when what was read of another log has already passed their time."""
        if newest is None or run.t_us[0] > newest:
            return run
        late = int(np.searchsorted(run.t_us, newest, side="right"))
        self._ledger.duplicates += late
        return run[late:]

    def _complete(self, run: Run) -> Run:
        if set(run.channels) == set(self._channels):
            return run
        nothing = np.full(len(run), np.nan)
        return Run(run.t_us, {name: run.channels.get(name, nothing) for name in self._channels})


def _frontier(active: Sequence[Part]) -> int:
    """Up to this time every active log has been read."""
    return min(int(part.current.t_us[-1]) for part in active if part.current is not None)
