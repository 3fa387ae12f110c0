"""Local times → UTC through a time zone; the hour that a clock change repeats is resolved by the order of the rows."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from monitor.base.samples import Ints

# Zones change on multiples of a quarter of an hour of local time (tz database, all rules since 1970).
QUARTER_US = 900_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC).replace(tzinfo=None)
# A step back within the repeated hour larger than this starts its second pass; our choice: the window within which
# rows merely out of order are put back.
_STEP_BACK_US = 2_000_000
# Repeated hours that lie further apart are two; our choice: clock changes are months apart, a repeated hour is one.
_ANOTHER_US = 86_400_000_000


class LocalClock:
    """Turns local times into UTC, in the order of the file; remembers which pass of a repeated hour it is in.

    >>> clock = LocalClock(ZoneInfo("Europe/Oslo"))
    >>> local = np.array(["2024-10-27T02:59", "2024-10-27T02:00"], "M8[us]").astype(np.int64)
    >>> utc, exists = clock.to_utc(local)
    >>> [str(t)[:16] for t in utc.astype("M8[us]")], exists.all().item()
    (['2024-10-27T00:59', '2024-10-27T01:00'], True)
    """

    def __init__(self, where: ZoneInfo) -> None:
        self._zone = where
        self._highest: int | None = None  # latest local time of the repeated hour so far
        self._second_pass = False

    def to_utc(self, local_us: Ints) -> tuple[Ints, npt.NDArray[np.bool_]]:
        """UTC µs and whether that local time exists (the hour skipped in spring does not), both of shape (n,)."""
        exists = np.ones(len(local_us), np.bool_)
        utc = np.empty_like(local_us)
        quarter = local_us // QUARTER_US
        starts = np.concatenate([[0], np.flatnonzero(np.diff(quarter)) + 1, [len(local_us)]])
        for start, end in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
            if start == end:
                continue
            early, late = self._offsets(int(quarter[start]))
            part = local_us[start:end]
            if early == late:
                self._highest, self._second_pass = None, False
                utc[start:end] = part - early
            elif early > late:  # repeated: the first pass has the larger offset
                utc[start:end] = part - np.where(self._passes(part), late, early)
            else:
                exists[start:end] = False
                utc[start:end] = part - early
        return utc, exists

    def state(self) -> tuple[int | None, bool]:
        """What it remembers, to return to with `rewind`."""
        return self._highest, self._second_pass

    def rewind(self, state: tuple[int | None, bool]) -> None:
        """Forget what was converted since `state` was taken."""
        self._highest, self._second_pass = state

    def _offsets(self, quarter: int) -> tuple[int, int]:
        local = _EPOCH + timedelta(microseconds=quarter * QUARTER_US)
        both = (local.replace(tzinfo=self._zone, fold=fold).utcoffset() or timedelta() for fold in (0, 1))
        early, late = (round(offset.total_seconds() * 1e6) for offset in both)
        return early, late

    def _passes(self, part: Ints) -> npt.NDArray[np.bool_]:
        """Per row, whether it belongs to the second pass."""
        if self._highest is not None and part[0] > self._highest + _ANOTHER_US:
            self._highest, self._second_pass = None, False
        before = np.maximum.accumulate(np.concatenate([[part[0] if self._highest is None else self._highest], part]))
        self._highest = int(before[-1])
        if self._second_pass:
            return np.ones(len(part), np.bool_)
        back = np.flatnonzero(part < before[:-1] - _STEP_BACK_US)
        second = np.zeros(len(part), np.bool_)
        if len(back):
            second[back[0] :] = True
            self._second_pass = True
        return second
