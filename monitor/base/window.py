"""The asked part of a log: times as a person writes them, and blocks cut to them; what is cut off is counted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np

from monitor.base.errors import InputError, SettingError
from monitor.base.fields import EPOCH, iso
from monitor.base.ledger import Ledger
from monitor.base.samples import Block

OUTSIDE = "outside the asked time"


def parse_moment(text: str, zone: tzinfo, option: str) -> int:
    """Microseconds UTC of an ISO 8601 time; one without a zone is read in `zone`, a date alone is its midnight.

    Raises SettingError naming `option`.

    >>> parse_moment("1970-01-01T01:00+01:00", UTC, "--from"), parse_moment("1970-01-02", UTC, "--from")
    (0, 86400000000)
    """
    try:
        moment = datetime.fromisoformat(text.strip())
        moment = (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(UTC)
        return (moment - EPOCH) // timedelta(microseconds=1)
    except (ValueError, OverflowError) as wrong:
        raise SettingError(
            f'{option}: expected an ISO 8601 time; found "{text}"', f"write it as {option} 2025-11-03T18:30"
        ) from wrong


@dataclass(frozen=True, slots=True)
class Window:
    """Half-open time [start_us, end_us) in microseconds UTC; None: from the first, to the last sample."""

    start_us: int | None = None
    end_us: int | None = None

    def __post_init__(self) -> None:
        if self.start_us is not None and self.end_us is not None and self.start_us >= self.end_us:
            raise SettingError(
                f"--to {iso(self.end_us)} is not later than --from {iso(self.start_us)}", "give a later --to"
            )

    def cut(self, blocks: Iterable[Block], ledger: Ledger) -> Iterator[Block]:
        """The samples of `blocks` inside; the others move in `ledger` from samples to refused, as `OUTSIDE`.

        The ledger is settled after the last block. Raises InputError when the log has samples, but none inside.
        """
        if self.start_us is None and self.end_us is None:
            yield from blocks
            return
        inside = outside = 0
        first = last = None
        for block in blocks:
            if not len(block):
                continue
            first = int(block.t_us[0]) if first is None else first
            last = int(block.t_us[-1])
            begin = 0 if self.start_us is None else int(np.searchsorted(block.t_us, self.start_us, "left"))
            end = len(block) if self.end_us is None else int(np.searchsorted(block.t_us, self.end_us, "left"))
            inside += end - begin
            outside += len(block) - (end - begin)
            if end > begin:
                yield block[begin:end]
        if outside:
            ledger.samples -= outside
            ledger.refuse(OUTSIDE, count=outside)
        if first is not None and last is not None and not inside:
            raise InputError(
                f"no sample in the asked time: the log runs from {iso(first)} to {iso(last)}",
                "choose --from and --to within it",
            )
