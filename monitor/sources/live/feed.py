"""Arrivals of one live logger → blocks for the journal, with the books of what was not passed on.

The same admission and the same time line as for recorded logs, with a shorter wait for rows that are late, and none at
all when nothing more comes: a row is passed on at most some 0.3 s after it arrived. After a restart data time goes on
from the journal's last sample.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

import numpy as np

from monitor.base.ledger import Ledger
from monitor.base.samples import Block, Floats
from monitor.sources.admit import Admission, Bounds, Stretch, Tally
from monitor.sources.combine import Run
from monitor.sources.live.arrival import Arrival
from monitor.sources.rows import CHANNELS, Rows
from monitor.sources.timeline import Timeline

REORDER_US = 200_000  # our choice: a logger that sends its channels one by one is late by less


class Feed:
    """Turns arrivals into blocks.

    ledger    the books; after a restart give those of the journal, and `last_us`, the time of its last sample
    others    rows that carried none of our channels
    """

    def __init__(
        self,
        nominal_v: float = 12.0,
        *,
        current_sign: Literal["as_logged", "reversed"] = "as_logged",
        ledger: Ledger | None = None,
        last_us: int | None = None,
        channels: Iterable[str] = (),
        reorder_us: int = REORDER_US,
    ) -> None:
        self.ledger = Ledger() if ledger is None else ledger
        self._nominal_v = nominal_v
        self._reversed = current_sign == "reversed"
        self._reorder_us = reorder_us
        self._tally = Tally()
        self._seen = {"volts", *channels}
        self._last_us = last_us
        self._came_s: float | None = None  # when rows last came
        self._fresh = True  # nothing has come since the start
        self._newest_us: int | None = None  # in the last arrival with rows, by the logger's clock
        self._unsettled: list[tuple[int | None, Callable[[], None]]] = []  # this time, who waits for it
        self._again_until: int | None = None  # up to here the journal has it already
        self._admission = Admission(Bounds.of(nominal_v), self.ledger, self._tally)
        self._timeline = Timeline(self.ledger, reorder_us, last_us, self.ledger.shift_us)

    @property
    def others(self) -> int:
        """Rows that carried none of our channels."""
        return self._admission.others

    @property
    def advice(self) -> str | None:
        """The setting that most of the volts ask for; None: they fit the battery."""
        return self._tally.hint(self._nominal_v)

    def push(self, arrival: Arrival, at_s: float) -> list[Block]:
        """What is settled once `arrival` has come at `at_s`, on a monotonic clock; to be called at each look."""
        self.ledger.clock_steps.extend(arrival.clock_steps)
        if arrival.rows is not None and len(arrival.rows.t_us):
            self._newest_us = int(arrival.rows.t_us.max())
        if arrival.stored is not None:
            self._unsettled.append((self._newest_us, arrival.stored))
        if arrival.rows is None:
            return self.idle(at_s)
        if self._fresh and arrival.again and self._last_us is not None:
            self._read_again(self._last_us)
        elif not arrival.again or self._is_news(arrival.rows):
            self._book()
        self._fresh = False
        self._came_s = at_s
        return self._blocks(self._timeline.push(self._stretch(arrival.rows)))

    def idle(self, at_s: float) -> list[Block]:
        """Nothing has come by `at_s`: what was held for rows that are late need not be held any longer."""
        if self._came_s is None or (at_s - self._came_s) * 1e6 < self._reorder_us:
            return []
        return self._blocks(self._timeline.release())

    def finish(self) -> list[Block]:
        """Nothing more comes: the rest."""
        return self._blocks(self._timeline.finish())

    def settled(self) -> list[Callable[[], None]]:
        """Whom to tell once the blocks that were given so far are stored: their rows are among them, all of them."""
        if not self._unsettled:
            return []
        held_us, shift_us = self._timeline.held_from_us, self._timeline.shift_us

        def waits(newest_us: int | None) -> bool:
            return held_us is not None and newest_us is not None and newest_us + shift_us >= held_us

        done = [stored for newest_us, stored in self._unsettled if not waits(newest_us)]
        self._unsettled = [one for one in self._unsettled if waits(one[0])]
        return done

    def _read_again(self, last_us: int) -> None:
        """A file is read from its beginning: what comes with samples that the journal has was booked before."""
        self._again_until = last_us
        books = Ledger()
        self._admission = Admission(Bounds.of(self._nominal_v), books, self._tally)
        self._timeline = Timeline(books, self._reorder_us)

    def _is_news(self, rows: Rows) -> bool:
        until = self._again_until
        return until is None or (len(rows.t_us) > 0 and int(rows.t_us.min()) + self._timeline.shift_us > until)

    def _book(self) -> None:
        """Whatever is refused from here on is booked."""
        self._admission.ledger = self._timeline.ledger = self.ledger

    def _stretch(self, rows: Rows) -> Stretch:
        """Admitted rows with all the channels there can be, since others may come later."""
        self._seen.update(rows.channels)
        admitted = self._admission.admit(rows)
        nothing = np.full(len(admitted), np.nan)
        return Stretch(admitted.t_us, {name: admitted.channels.get(name, nothing) for name in CHANNELS}, admitted.where)

    def _blocks(self, runs: Iterable[Run]) -> list[Block]:
        blocks = [self._block(run) for run in map(self._news, runs) if len(run)]
        if blocks:
            self._again_until = None
            self._book()
        self.ledger.samples += sum(map(len, blocks))
        self.ledger.shift_us = self._timeline.shift_us
        return blocks

    def _news(self, run: Run) -> Run:
        if self._again_until is None:
            return run
        return run[int(np.searchsorted(run.t_us, self._again_until, side="right")) :]

    def _block(self, run: Run) -> Block:
        amps = self._channel(run, "amps")
        if amps is not None and self._reversed:
            amps = 0.0 - amps
        return Block(run.t_us, run.channels["volts"], amps, self._channel(run, "celsius"))

    def _channel(self, run: Run, name: str) -> Floats | None:
        return run.channels[name] if name in self._seen else None
