"""One log's rows in its own order → runs of strictly increasing time.

Rows that are late by up to REORDER_US (a live log waits less) are put back. A larger step back that the following rows
confirm is a step of the logger's clock: later times are shifted so that data time goes on by one usual interval, and
the step is recorded.
A jump forward by more than a year is a step too, but the new time is believed: it is how a clock that lost its time
finds it again. A jump that the following rows do not confirm is a stray row and is refused.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from monitor.base.ledger import Ledger
from monitor.base.samples import Ints
from monitor.sources.admit import Stretch, enter
from monitor.sources.combine import Run, combine, joined
from monitor.sources.rows import fault

REORDER_US = 2_000_000  # our choice: loggers that interleave channels are late by parts of a second
FORWARD_US = 365 * 86_400_000_000  # our choice: no log has a pause of a year
LOOK = 5  # rows that are asked whether a jump is a step; our choice
STRAY = "time jumps for a single row"
LATE = "late: later samples had been passed on"
_PART = 4096  # rows looked at at a time once something is out of order


class Timeline:
    """Orders the rows of one log; `push` stretches in file order, then `finish`.

    merged   rows that only filled what another row of the same time lacked
    ledger   the books; may be exchanged

    reorder_us is how late a row may be. A live log goes on after a restart from `last_us`, the time of the last sample
    passed on, and `shift_us`, data time − the logger's clock.
    """

    def __init__(
        self, ledger: Ledger, reorder_us: int = REORDER_US, last_us: int | None = None, shift_us: int = 0
    ) -> None:
        self.ledger = ledger
        self.merged = 0
        self._reorder_us = reorder_us
        self._shift_us = shift_us
        self._floor = last_us  # whatever is not later comes too late
        self._highest = last_us  # latest data time so far
        self._usual_us = 0  # latest ordinary interval
        self._held: list[Run] = []  # rows not older than the reorder window, in order of arrival
        self._waiting: Stretch | None = None  # rows from a jump on that is not yet decided

    def push(self, rows: Stretch) -> Iterator[Run]:
        """Take further rows; give what is settled."""
        if self._waiting is not None:
            rows, self._waiting = _chained(self._waiting, rows), None
        if self._is_clean(rows):
            yield from self._pass(rows)
            return
        for start in range(0, len(rows), _PART):
            part = _part(rows, start, min(start + _PART, len(rows)))
            if self._waiting is not None:
                part, self._waiting = _chained(self._waiting, part), None
            self._sort_in(part, last=False)
            yield from self._settled(self._highest)

    @property
    def shift_us(self) -> int:
        """Data time − the logger's clock."""
        return self._shift_us

    @property
    def held_from_us(self) -> int | None:
        """The earliest data time that is held; None: nothing is."""
        held = [int(run.t_us.min()) for run in self._held]
        if self._waiting is not None:
            held.append(int(self._waiting.t_us.min()) + self._shift_us)
        return min(held, default=None)

    def release(self) -> Iterator[Run]:
        """Give what is held only because a late row might come; one that then comes is refused."""
        if self._held:
            yield from self._settled(None)
            self._floor = self._highest

    def finish(self) -> Iterator[Run]:
        """Give the rest."""
        if self._waiting is not None:
            rows, self._waiting = self._waiting, None
            self._sort_in(rows, last=True)
        yield from self._settled(None)

    def _is_clean(self, rows: Stretch) -> bool:
        if not len(rows):
            return True
        steps = np.diff(rows.t_us)
        if len(steps) and (steps.min() <= 0 or steps.max() > FORWARD_US):
            return False
        first = int(rows.t_us[0]) + self._shift_us
        return self._highest is None or 0 < first - self._highest <= FORWARD_US

    def _pass(self, rows: Stretch) -> Iterator[Run]:
        """Rows in perfect order: with what was held before them they go on as one run, but for the tail."""
        if not len(rows):
            return
        t_us = rows.t_us + self._shift_us if self._shift_us else rows.t_us
        run = Run(t_us, rows.channels)
        if len(run) > 1:
            self._usual_us = int(t_us[-1] - t_us[-2])
        elif self._highest is not None:
            self._usual_us = int(t_us[0]) - self._highest
        self._highest = int(t_us[-1])
        cut = int(np.searchsorted(t_us, self._highest - self._reorder_us))
        settled = [*self._settled(self._highest), *([run[:cut]] if cut else [])]
        if settled:
            yield joined(settled)
        tail = run[cut:]
        self._held.append(Run(tail.t_us.copy(), {n: v.copy() for n, v in tail.channels.items()}) if cut else tail)

    def _settled(self, highest: int | None) -> Iterator[Run]:
        """Held rows older than the reorder window before `highest`; None: all of them."""
        if not self._held:
            return
        rows = joined(self._held)
        self._held = []
        # Whatever made a row late is newer than it, so it is still held.
        late = rows.t_us < np.maximum.accumulate(rows.t_us)
        if highest is not None:
            old = rows.t_us < highest - self._reorder_us
            if not old.all():
                keep = ~old
                self._held = [Run(rows.t_us[keep], {n: v[keep] for n, v in rows.channels.items()})]
                rows = Run(rows.t_us[old], {n: v[old] for n, v in rows.channels.items()})
                late = late[old]
        if not len(rows):
            return
        done = combine(rows)
        self.ledger.reordered += int(np.count_nonzero(late & done.opened))
        self.ledger.duplicates += done.duplicates
        self.merged += int(np.count_nonzero(done.filled))
        yield done.run

    def _sort_in(self, rows: Stretch, last: bool) -> None:
        """Hold the rows up to the first jump that cannot be decided yet; those from it on wait."""
        start = 0
        while start < len(rows):
            t_us = rows.t_us[start:] + self._shift_us
            stop = self._first_jump(t_us)
            self._hold(rows, start, start + stop, t_us[:stop])
            start += stop
            if start == len(rows):
                return
            if len(rows) - start <= LOOK and not last:
                self._waiting = _part(rows, start, len(rows))
                return
            if self._is_step(rows.t_us[start : start + LOOK + 1] + self._shift_us):
                self._step(int(rows.t_us[start]))
            else:
                enter(self.ledger, fault(STRAY, [start], rows.where))
                start += 1

    def _first_jump(self, t_us: Ints) -> int:
        before = np.concatenate([[t_us[0] if self._highest is None else self._highest], t_us[:-1]])
        highest = np.maximum.accumulate(before)
        jumps = np.flatnonzero((t_us < highest - self._reorder_us) | (t_us > highest + FORWARD_US))
        return int(jumps[0]) if len(jumps) else len(t_us)

    def _hold(self, rows: Stretch, start: int, stop: int, t_us: Ints) -> None:
        if start == stop:
            return
        held = Run(t_us, {n: v[start:stop] for n, v in rows.channels.items()})
        if self._floor is not None and (late := t_us <= self._floor).any():
            enter(self.ledger, fault(LATE, (start + np.flatnonzero(late)).tolist(), rows.where))
            held = Run(t_us[~late], {n: v[~late] for n, v in held.channels.items()})
        if len(held):
            self._held.append(held)
        before = t_us[0] if self._highest is None else self._highest
        steps = np.diff(np.maximum.accumulate(np.concatenate([[before], t_us])))
        ordinary = steps[(steps > 0) & (steps <= FORWARD_US)]
        if len(ordinary):
            self._usual_us = int(ordinary[-1])
        self._highest = max(int(before), int(t_us.max()))

    def _is_step(self, t_us: Ints) -> bool:
        """Whether the rows after a jump (t_us[0]) go on from it rather than from the time before it."""
        old = self._highest
        if old is None:
            return True
        later = t_us[1:]
        if not len(later):
            return False
        usual = np.arange(1, len(later) + 1) * self._usual_us
        from_new = np.abs(later - t_us[0] - usual)
        from_old = np.abs(later - old - usual - self._usual_us)
        return 2 * int(np.count_nonzero(from_new < from_old)) > len(later)

    def _step(self, written_us: int) -> None:
        old = self._highest
        if old is None:
            return
        expected = old + self._usual_us
        jump_us = written_us + self._shift_us - expected
        if jump_us > 0:
            self._shift_us = 0 if written_us > old else self._shift_us
        else:
            self._shift_us += max(expected, old + 1) - (written_us + self._shift_us)
        after = written_us + self._shift_us
        self.ledger.clock_steps.append((after, jump_us / 1e6))
        self._highest = max(old, after)


def _part(rows: Stretch, start: int, stop: int) -> Stretch:
    where = rows.where
    return Stretch(
        rows.t_us[start:stop],
        {n: v[start:stop] for n, v in rows.channels.items()},
        lambda row: where(row + start),
    )


def _chained(first: Stretch, second: Stretch) -> Stretch:
    early, late, size = first.where, second.where, len(first)
    return Stretch(
        np.concatenate([first.t_us, second.t_us]),
        {n: np.concatenate([v, second.channels[n]]) for n, v in first.channels.items()},
        lambda row: early(row) if row < size else late(row - size),
    )
