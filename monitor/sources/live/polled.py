"""An instrument that is asked: opened, read at its rhythm, closed on trouble and opened again, for ever.

What differs from one kind of instrument to another is a `Meter`; how its troubles become the state of a link, faults in
the books and the wait before the next try is here. A row is stamped when its last reply has come.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from monitor.base.ledger import RefusedLine
from monitor.sources.header import Source
from monitor.sources.live.arrival import Arrival, LinkState
from monitor.sources.live.backoff import Backoff
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.delimited import iso
from monitor.sources.live.lines import Line, remark
from monitor.sources.rows import ABSENT, GOOD, OVERLOAD, Cells, Fault, Rows

FIRST_WAIT_S = 1.0  # before the first new try; a late reply has then most likely come and is thrown away. Our choice


class Trouble(Exception):  # noqa: N818 - no error of the program: what an instrument, a cable or a network does
    """A request was not answered as it should be.

    state   of the link from now on
    why     one sentence: what happened and what to do
    reason  under which a missed reading is counted; None: nothing came, so nothing is counted
    text    what came instead of a reading
    keep    the connection is sound and stays open
    """

    def __init__(
        self, state: LinkState, why: str, reason: str | None = None, text: str = "", keep: bool = False
    ) -> None:
        super().__init__(why)
        self.state, self.why, self.reason, self.text, self.keep = state, why, reason, text, keep


@dataclass(frozen=True, slots=True)
class Reading:
    """What one look gave: raw figures by channel (None: the instrument sent no number), how they read, troubles.

    A trouble here cost its channel only.
    """

    figures: dict[str, float | None]
    text: str
    troubles: tuple[Trouble, ...] = ()


class Meter(Protocol):
    """How one kind of instrument is asked. Its methods raise Trouble and nothing else; each keeps its deadline.

    name      how messages call it
    identity  what it says it is; "" where it does not say
    channels  where each channel's figure comes from: unit and sign
    """

    name: str
    identity: str
    channels: dict[str, Source]

    def open(self) -> None:
        """Open the connection and make sure who answers."""

    def read(self) -> Reading:
        """Ask for all channels once."""

    def close(self) -> None:
        """Let go of the connection; harmless when there is none."""


class PolledLogger:
    """A LiveLogger made of a meter.

    every_s     between two readings
    silence_s   an open instrument that gave nothing for so long is silent
    clock       stamps the rows
    """

    def __init__(
        self,
        meter: Meter,
        every_s: float,
        silence_s: float,
        clock: ArrivalClock,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = meter.name
        self._meter = meter
        self._every_s = every_s
        self._silence_s = silence_s
        self.clock = clock
        self._now = monotonic
        self._closing = threading.Event()
        self._is_open = False
        self._due_s = self._heard_s = monotonic()
        self._backoff = Backoff(FIRST_WAIT_S)
        self._state: LinkState = "opening"
        self._why = ""
        self._looks = 0
        self._head = f"time,{','.join(meter.channels)}\n".encode()

    def poll(self, timeout_s: float) -> Arrival:
        """The next reading, once it is due; after at most `timeout_s` and the instrument's deadline."""
        self._closing.wait(max(0.0, min(timeout_s, self._due_s - self._now())))
        if self._closing.is_set() or self._now() < self._due_s:
            return self._arrival(None)
        try:
            if not self._is_open:
                self._meter.open()
                self._is_open = True
            reading = self._meter.read()
        except Trouble as trouble:
            return self._arrival(self._missed(trouble))
        finally:
            if self._closing.is_set():
                self._meter.close()  # it may have been opened while it was being closed
        return self._arrival(self._taken(reading))

    @property
    def identity(self) -> str:
        """What the instrument says it is; "" as long as it has not said."""
        return self._meter.identity

    def close(self) -> None:
        """End a wait and let go of the instrument."""
        self._closing.set()
        self._meter.close()

    def _arrival(self, rows: Rows | None) -> Arrival:
        raw = b"" if rows is None else _recorded(rows)
        steps = self.clock.take_steps()
        return Arrival(raw, rows, self._state, self._why, True, steps, paced=True, head=self._head)

    def _taken(self, reading: Reading) -> Rows:
        """The row of a reading; the rhythm goes on without a burst after a slow reply."""
        now = self._now()
        self._backoff.reset()
        self._due_s = max(self._due_s + self._every_s, now)
        if any(figure is not None for figure in reading.figures.values()):
            self._heard_s = now
            self._state, self._why = "speaking", ""
        if reading.troubles:
            worst = reading.troubles[0]
            self._state, self._why = worst.state, worst.why
        faults = tuple(self._fault(trouble) for trouble in reading.troubles)
        return self._rows(reading, tuple(f for f in faults if f is not None))

    def _missed(self, trouble: Trouble) -> Rows | None:
        """What a look without a reading leaves: the state, the next try, and the fault in the books."""
        now = self._now()
        if trouble.keep and self._is_open:
            self._due_s = max(self._due_s + self._every_s, now)
        else:
            self._meter.close()
            self._is_open = False
            self._due_s = now + self._backoff.wait_s()
        if trouble.state != "silent" or now - self._heard_s >= self._silence_s:
            self._state, self._why = trouble.state, trouble.why
        bad = self._fault(trouble)
        return None if bad is None else self._rows(Reading({}, trouble.text), (bad,))

    def _fault(self, trouble: Trouble) -> Fault | None:
        if trouble.reason is None:
            return None
        return Fault(trouble.reason, 1, (RefusedLine(self.name, self._looks + 1, trouble.text),))

    def _rows(self, reading: Reading, faults: tuple[Fault, ...]) -> Rows:
        self._looks += 1
        place = RefusedLine(self.name, self._looks, reading.text)
        any_cell = any(figure is not None for figure in reading.figures.values())
        t_us = np.array([self.clock.now()] if any_cell else [], np.int64)
        channels = {}
        for name, source in self._meter.channels.items():
            figure = reading.figures.get(name)
            values = np.array([0.0 if figure is None else figure] if any_cell else [], np.float64)
            flaws = np.full(len(values), ABSENT if figure is None else GOOD, np.uint8)
            channels[name] = _scaled(source, values, flaws)
        return Rows(t_us, channels, lambda row: place, faults)


def _scaled(source: Source, values: np.ndarray, flaws: np.ndarray) -> Cells:
    """Figures that stand for overload or for not a number are told as such before a unit hides them."""
    from monitor.sources.cells import mark_figures

    mark_figures(values, flaws)
    return source.scaled(Cells(values, flaws))


def _recorded(rows: Rows) -> bytes:
    """The row as a line of a log in V, A (+ into the battery) and °C; what was no reading as remarks."""
    lines = [remark(Line(f"{bad.reason}: {bad.first[0].text}".encode(), 0)) for bad in rows.faults]
    for row, t_us in enumerate(rows.t_us.tolist()):
        cells = [_cell(channel, row) for channel in rows.channels.values()]
        lines.append(f"{iso(t_us)},{','.join(cells)}\n".encode())
    return b"".join(lines)


def _cell(cells: Cells, row: int) -> str:
    flaw = GOOD if cells.flaws is None else int(cells.flaws[row])
    return repr(float(cells.values[row])) if flaw == GOOD else {ABSENT: "", OVERLOAD: "OL"}.get(flaw, "nan")
