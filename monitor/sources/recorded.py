"""Recorded logs as one stream of blocks, with the books of what was not passed on."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from typing import Protocol

import numpy as np

from monitor.base.errors import InputError
from monitor.base.ledger import Ledger
from monitor.base.samples import Block
from monitor.sources.admit import Admission, Bounds, Tally
from monitor.sources.combine import Run
from monitor.sources.join import Join, Part
from monitor.sources.readahead import read_ahead
from monitor.sources.rows import CHANNELS, Rows
from monitor.sources.timeline import Timeline

Progress = Callable[[int, int], None]

# Share of volts outside the believable range from which a log is refused for its nominal voltage; our choice.
_MISFIT = 0.9


class Reader(Protocol):
    """A log of any kind: its rows, and what is known of it beforehand.

    name         how messages call it
    channels     channels it has
    columns      names of all its columns, for messages
    unclear      channels that several columns fit: those columns
    relative     its times count from the start of the log
    assumes_utc  its times are written without a zone, and none was said
    """

    name: str
    relative: bool
    assumes_utc: bool

    channels: tuple[str, ...]
    columns: tuple[str, ...]
    unclear: dict[str, list[str]]

    def rows(self, progress: Callable[[int], None] | None = None) -> Generator[Rows, None, None]:
        """All rows in the order of the log."""


class RecordedLog:
    """Recorded logs as one stream of blocks.

    channels  those that at least one of the logs has
    ledger    books of the rows; complete when `blocks` is exhausted
    notices   sentences a person should read: assumptions made, columns passed over
    relative  times count from the start of the log; it is put at 1970-01-01
    assumes_utc  some times are written without a zone, and none was said: they are taken as UTC
    others    rows that carry none of our channels; neither samples nor refused
    merged    rows that only filled what another row of the same time lacked
    """

    def __init__(
        self,
        readers: Sequence[Reader],
        sizes: dict[str, int],
        nominal_v: float,
        reversed_sign: bool,
        progress: Progress | None,
        notices: list[str],
    ) -> None:
        self.ledger = Ledger()
        self.notices = notices
        self.channels = tuple(c for c in CHANNELS if any(c in reader.channels for reader in readers))
        self.relative = readers[0].relative
        self.assumes_utc = any(reader.assumes_utc for reader in readers)
        self.others = 0
        self.merged = 0
        self._readers = readers
        self._sizes = sizes
        self._nominal_v = nominal_v
        self._reversed = reversed_sign
        self._progress = progress
        self._done = dict.fromkeys(sizes, 0)
        self._tally = Tally()
        self._started = False

    def blocks(self) -> Iterator[Block]:
        """All samples, once; t_us strictly increasing. Raises InputError when nothing usable is in the logs."""
        if self._started:
            raise RuntimeError("the blocks of a log can be read once; open it again")
        self._started = True
        bounds = Bounds.of(self._nominal_v)
        admissions = [Admission(bounds, self.ledger, self._tally) for _ in self._readers]
        timelines = [Timeline(self.ledger) for _ in self._readers]
        alone = len(self._readers) == 1
        parts = [
            Part(0 if alone else _first_time(reader), self._runs(reader, admission, timeline))
            for reader, admission, timeline in zip(self._readers, admissions, timelines, strict=True)
        ]
        join = Join(self.ledger, self.channels)
        volts = 0
        for run in join.runs(parts):
            self.ledger.samples += len(run)
            volts += len(run) - int(np.count_nonzero(np.isnan(run.channels["volts"])))
            yield self._block(run)
            self._report()
        self.others = sum(admission.others for admission in admissions)
        self.merged = join.merged + sum(timeline.merged for timeline in timelines)
        self._report()
        self._judge(volts)

    def _runs(self, reader: Reader, admission: Admission, timeline: Timeline) -> Iterator[Run]:
        def progress(done: int) -> None:
            self._done[reader.name] = done

        for rows in read_ahead(reader.rows(progress)):
            yield from timeline.push(admission.admit(rows))
        yield from timeline.finish()
        self._done[reader.name] = self._sizes[reader.name]

    def _report(self) -> None:
        if self._progress is not None:
            self._progress(sum(self._done.values()), sum(self._sizes.values()))

    def _block(self, run: Run) -> Block:
        amps = run.channels.get("amps")
        if amps is not None and self._reversed:
            amps = 0.0 - amps
        return Block(run.t_us, run.channels["volts"], amps, run.channels.get("celsius"))

    def _judge(self, volts: int) -> None:
        """After the last row: refuse a log that held nothing, or another battery's volts."""
        names = ", ".join(reader.name for reader in self._readers)
        outside = sum(n for reason, n in self.ledger.refused.items() if reason.startswith("volts outside"))
        hint = self._tally.hint(self._nominal_v)
        low, high = Bounds.of(self._nominal_v).volts
        expected = f"a {self._nominal_v:g} V battery reads {low:g} to {high:g} V"
        if hint is not None and outside > _MISFIT * (outside + volts):
            first = next(lines[0] for reason, lines in self.ledger.first.items() if reason.startswith("volts outside"))
            raise InputError(
                f"{first.file}, line {first.line}: volts do not fit: {expected}, found {first.text!r}; "
                f"so in {outside} of {outside + volts} rows",
                hint,
            )
        if hint is not None:
            self.notices.append(f"most volts are not those of a {self._nominal_v:g} V battery: {hint}")
        if volts:
            return
        shown = [(reason, lines[0]) for reason, lines in self.ledger.first.items() if lines]
        if shown:
            reason, line = shown[0]
            what = f"{line.file}, line {line.line}: {reason}: {line.text!r}; no row of this log could be used"
        else:
            what = f"{names}: no row holds volts"
        raise InputError(what, "check that the columns are the right ones: [log] time, volts in the vehicle file")


def _first_time(reader: Reader) -> int:
    """First time of a log, to know when its turn comes; a large number when it has none."""
    rows = reader.rows()
    try:
        for part in rows:
            if len(part.t_us):
                return int(part.t_us[0])
    finally:
        rows.close()
    return 2**62
