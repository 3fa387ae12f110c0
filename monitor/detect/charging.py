"""Charging over a drive: delay after the start, voltage levels, phases, regulation, ripple and faults.

Warm-up: percentiles from the first second; phases from the first minute; regulation and faults after minutes, each as
said at its limit in charging_limits.py. A gap ends every run of seconds: nothing is concluded across it, and a delay
with a gap inside it is unknown. A stop-start system's stops are told apart by the caller and leave no trace but that.
Method: exact histograms and canonical minutes of whole seconds, so any cut gives the same result.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from monitor.base.results import Charging
from monitor.base.samples import SECOND_US, Floats, Ints, Seconds
from monitor.detect.charging_faults import Evidence, faults
from monitor.detect.charging_limits import (
    CHARGING_A,
    CHARGING_S,
    CHARGING_V,
    HUNTING_MOVE_V,
    HUNTING_PER_MINUTE,
    HUNTING_SHARE,
    HUNTING_SLOW_S,
    HUNTING_SLOW_V,
    OVER_AT_ONCE_V,
    OVER_SAMPLES,
    OVER_SAMPLES_SLOW,
    RIPPLE_LEAST_COUNT,
    RIPPLE_LEAST_SECONDS,
    SLOW_SAMPLES,
    UNSEEN_S,
)
from monitor.detect.charging_phases import Minutes, phases, regulation, tail_amps
from monitor.detect.facts import Facts
from monitor.detect.minutes import MINUTE_S, UNKNOWN, MinuteTable, OpenMinute, Sorted, micro, sort_minutes

VOLT_BIN_V = 0.005  # for 12 V; percentiles are good to half of it. Our choice: what a good logger resolves
VOLT_BINS = 2400  # from LOWEST_V up to 20 V for 12 V
LOWEST_V = 8.0
RIPPLE_BIN_V = 0.005
RIPPLE_BINS = 600  # up to 3 V peak to peak: the ISO 16750-2 immunity level of an alternator's ripple
CHANNELS = 3  # volts, amps, celsius
COLUMNS = ["sum", "sum", "min", "max", "sum", "sum", "sum", "sum", "sum", "sum"]


def _zeros(length: int) -> Ints:
    return np.zeros(length, np.int64)


@dataclass(slots=True)
class ChargingState:
    """All that the detector remembers.

    table           columns: minutes, middle volts (sum), low volts (min), high volts (max), minutes with amps, amps,
                    minutes with celsius, celsius, hunting minutes, over-voltage minutes (sum); micro-units
    volt_counts     seconds of running engine in each bin of VOLT_BIN_V
    ripple_counts   seconds in each bin of RIPPLE_BIN_V of their peak-to-peak volts
    charging_since  first second of an unconfirmed run of charging; charged_at: first second of the confirmed one
    last_s          last second of running engine
    gap_us          unobserved time since the last second with volts
    unseen          unobserved time came before charging was seen
    low_since       first second of the present run below CHARGING_V; low_last: its last; low_longest: longest so far, s
    """

    open_minute: OpenMinute = field(default_factory=OpenMinute)
    table: MinuteTable = field(default_factory=lambda: MinuteTable(list(COLUMNS)))
    volt_counts: Ints = field(default_factory=lambda: _zeros(VOLT_BINS))
    ripple_counts: Ints = field(default_factory=lambda: _zeros(RIPPLE_BINS))
    charging_since: int | None = None
    charged_at: int | None = None
    last_s: int = 0
    gap_us: int = 0
    unseen: bool = False
    low_since: int | None = None
    low_last: int = 0
    low_longest: int = 0


class ChargingDetector:
    """What the charging system did over one drive."""

    def __init__(self, facts: Facts, start_us: int, started_by_crank: bool, volts_before: float | None = None) -> None:
        """`start_us`: end of the crank, or start of the log if the engine was already running, µs UTC.

        `volts_before`: the battery's before the crank, where known.
        """
        self.facts = facts
        self.start_us = start_us
        self.started_by_crank = started_by_crank
        self.volts_before = volts_before
        self.state = ChargingState()

    def update(self, seconds: Seconds, running: bool = True) -> None:
        """Take the next whole seconds of the drive; `running` is False for those of a stop-start system's stop."""
        state, scale = self.state, self.facts.scale
        known = ~np.isnan(seconds.volts)
        if not running or not known.any():
            state.gap_us += int(seconds.gap_us.sum())
            if not running and len(seconds):
                state.charging_since = None
            return
        second, volts, amps = seconds.second, seconds.volts, seconds.amps
        celsius, count, ripple = seconds.celsius, seconds.count, seconds.volts_max - seconds.volts_min
        if not known.all():
            second, volts, amps = second[known], volts[known], amps[known]
            celsius, count, ripple = celsius[known], count[known], ripple[known]
        gap = self._gaps(seconds.gap_us, known)

        state.last_s = int(second[-1])
        self._count(state.volt_counts, volts / scale - LOWEST_V, VOLT_BIN_V)
        quick = count >= RIPPLE_LEAST_COUNT
        if quick.any():
            self._count(state.ripple_counts, ripple[quick] / scale, RIPPLE_BIN_V)
        if state.charged_at is None:
            self._look_for_charge(second, volts, amps, gap > UNSEEN_S * SECOND_US)
        self._follow_low(second, volts < CHARGING_V * scale, gap > MINUTE_S * SECOND_US)
        whole_second, whole = state.open_minute.take(second, micro(volts, amps, celsius))
        _fold(state.table, whole_second, whole, scale)

    def delay_s(self) -> float | None:
        """How long after the start charging began; None where unknown, or not yet."""
        if not self.started_by_crank or self.state.unseen or self.state.charged_at is None:
            return None
        return max(self.state.charged_at - self.start_us / SECOND_US, 0.0)

    def ripple_mv(self) -> float | None:
        """Median peak-to-peak volts within a second so far, mV; None where too few seconds can tell."""
        return _ripple_mv(self.state.ripple_counts, self.facts.scale)

    def hunting_s(self) -> float:
        """How long the voltage has hunted, in whole minutes; 0 while that is too small a share of the drive."""
        if not self.state.table.columns:
            return 0.0
        seen, *_, hunting, _ = (int(column.sum()) for column in self.state.table.columns)
        return float(hunting * MINUTE_S) if hunting >= HUNTING_SHARE * seen else 0.0

    def result(self) -> Charging:
        """What the drive shows so far; changes nothing."""
        state, scale = self.state, self.facts.scale
        table = state.table.copy()
        _fold(table, state.open_minute.second, state.open_minute.values(CHANNELS), scale)
        delay_s = self.delay_s()
        charging = Charging(delay_s=delay_s, ripple_mv=self.ripple_mv())
        if not len(table.key):
            return charging
        middle, p05, p95 = (_percentile(state.volt_counts, share) for share in (0.5, 0.05, 0.95))
        charging.volts_median, charging.volts_p05, charging.volts_p95 = middle * scale, p05 * scale, p95 * scale
        minutes = _minutes(table)
        evidence = Evidence(
            minutes=minutes,
            start_s=self.start_us / SECOND_US,
            charged=state.charged_at is not None,
            delay_s=delay_s,
            start_seen=self.started_by_crank and not state.unseen,
            low_longest_s=max(state.low_longest, 0 if state.low_since is None else state.low_last - state.low_since),
            ripple_mv=charging.ripple_mv,
            volts_before=self.volts_before,
        )
        charging.regulation = regulation(minutes, scale)
        charging.faults = faults(evidence, charging.regulation, scale)
        if "no_charge" in charging.faults and state.charged_at is None:
            charging.regulation = "none"
        charging.phases = phases(minutes, self.facts, self.start_us, (state.last_s + 1) * SECOND_US)
        charging.tail_amps = tail_amps(minutes, charging.phases)
        return charging

    def _gaps(self, gap_us: Ints, known: npt.NDArray[np.bool_]) -> Ints:
        """Unobserved time before each second with volts, counting what fell on seconds without."""
        if not self.state.gap_us and not gap_us.any():
            return gap_us[known]
        place = np.flatnonzero(known)
        reached = np.cumsum(gap_us)
        gaps = np.diff(reached[place], prepend=-self.state.gap_us)
        self.state.gap_us = int(reached[-1] - reached[place[-1]])
        return gaps

    @staticmethod
    def _count(counts: Ints, values: Floats, width: float) -> None:
        place = np.clip(np.floor(values / width), 0, len(counts) - 1).astype(np.int64)
        counts += np.bincount(place, minlength=len(counts))

    def _look_for_charge(self, second: Ints, volts: Floats, amps: Floats, broken: npt.NDArray[np.bool_]) -> None:
        """Find the first run of charging that lasts CHARGING_S."""
        state = self.state
        with np.errstate(invalid="ignore"):
            good = (volts >= CHARGING_V * self.facts.scale) | (amps > CHARGING_A)
        starts, ends, carried = _runs(second, good, broken, state.charging_since)
        lasting = np.flatnonzero(ends - starts >= CHARGING_S)
        state.charging_since = carried
        before = broken
        if len(lasting):
            state.charged_at = int(starts[lasting[0]])
            state.charging_since = None
            before = broken[second <= state.charged_at]
        state.unseen |= bool(before.any())

    def _follow_low(self, second: Ints, low: npt.NDArray[np.bool_], broken: npt.NDArray[np.bool_]) -> None:
        """Keep the longest run of seconds below CHARGING_V."""
        state = self.state
        if state.low_since is None and not low.any():
            return
        if state.low_since is not None and (broken[0] or not low[0]):
            state.low_longest = max(state.low_longest, state.low_last - state.low_since)
        starts, ends, state.low_since = _runs(second, low, broken, state.low_since)
        state.low_last = int(second[-1])
        if len(starts):
            state.low_longest = max(state.low_longest, int((ends - starts).max()))


def _runs(
    second: Ints, good: npt.NDArray[np.bool_], broken: npt.NDArray[np.bool_], carried: int | None
) -> tuple[Ints, Ints, int | None]:
    """First and last second of each run of good seconds, and the start of one that is still going on at the end.

    broken    seconds before which a run ends whatever they are
    carried   start of a run that was going on before these seconds; not listed if it ends before the first of them
    """
    before = np.concatenate(([carried is not None], good[:-1]))
    first = np.flatnonzero(good & (~before | broken))
    starts = second[first]
    if carried is not None and good[0] and not broken[0]:
        first = np.concatenate(([0], first))
        starts = np.concatenate(([carried], starts))
    after = np.concatenate((good[1:] & ~broken[1:], [False]))
    ends = second[good & ~after]
    return starts, ends, int(starts[-1]) if good[-1] else None


def _fold(table: MinuteTable, second: Ints, values: Ints, scale: float) -> None:
    """Add whole minutes of running engine to the table."""
    if not len(second):
        return
    minutes = sort_minutes(second, values)
    middle, amps, celsius = minutes.middle_mean()
    has_amps = (amps != UNKNOWN).astype(np.int64)
    has_heat = (celsius != UNKNOWN).astype(np.int64)
    table.fold(
        minutes.minute,
        [
            np.ones(len(middle), np.int64),
            middle,
            minutes.rank(0, 0.05),
            minutes.rank(0, 0.95),
            has_amps,
            amps * has_amps,
            has_heat,
            celsius * has_heat,
            _hunting(second, values[0], minutes.minute, scale),
            _over(minutes, scale),
        ],
    )


def _hunting(second: Ints, volts: Ints, minute: Ints, scale: float) -> Ints:
    """1 for a minute in which large moves reverse often, shape (m,).

    A move is one from a second to the next, or, where a battery smooths the volts, over HUNTING_SLOW_S.
    """
    rows = second // MINUTE_S
    move = np.zeros(len(volts))
    for lag, least in ((HUNTING_SLOW_S, HUNTING_SLOW_V), (1, HUNTING_MOVE_V)):
        moved = volts[lag:] - volts[:-lag]
        near = (second[lag:] - second[:-lag] <= lag) if lag > 1 else np.bool_(True)
        large = (np.abs(moved) >= least * scale * 1e6) & (rows[lag:] == rows[:-lag]) & near
        move[lag:][large] = moved[large]
    place = np.flatnonzero(move)
    up, row = move[place] > 0, rows[place]
    turned = row[1:][(up[1:] != up[:-1]) & (row[1:] == row[:-1])]
    turns = np.bincount(np.searchsorted(minute, turned), minlength=len(minute))
    return np.asarray(turns >= HUNTING_PER_MINUTE, np.int64)


def _over(minutes: Sorted, scale: float) -> Ints:
    """1 for a minute with enough seconds above OVER_AT_ONCE_V, shape (m,)."""
    known = minutes.known[0]
    least = np.where(known > SLOW_SAMPLES, OVER_SAMPLES, OVER_SAMPLES_SLOW)
    place = known - least
    value = minutes.values[0, np.arange(len(known)), np.maximum(place, 0)]
    return np.asarray((place >= 0) & (value > OVER_AT_ONCE_V * scale * 1e6), np.int64)


def _minutes(table: MinuteTable) -> Minutes:
    """The table in volts, amps and degrees."""
    count, middle, low, high, amp_n, amps, heat_n, heat, hunting, over = table.columns
    return Minutes(
        start_s=table.key * table.width * MINUTE_S,
        width_s=table.width * MINUTE_S,
        volts=middle / count / 1e6,
        low=low / 1e6,
        high=high / 1e6,
        amps=np.where(amp_n > 0, amps / np.maximum(amp_n, 1) / 1e6, np.nan),
        celsius=np.where(heat_n > 0, heat / np.maximum(heat_n, 1) / 1e6, np.nan),
        hunting=hunting,
        over=over,
    )


def _percentile(counts: Ints, share: float) -> float:
    """Middle of the bin that holds the given share of all seconds, V for 12 V."""
    reached = np.cumsum(counts)
    place = int(np.searchsorted(reached, share * reached[-1]))
    return LOWEST_V + (place + 0.5) * VOLT_BIN_V


def _ripple_mv(counts: Ints, scale: float) -> float | None:
    """Median peak-to-peak volts within a second, mV; None where too few seconds carry enough samples."""
    reached = np.cumsum(counts)
    if reached[-1] < RIPPLE_LEAST_SECONDS:
        return None
    return (int(np.searchsorted(reached, reached[-1] / 2)) + 0.5) * RIPPLE_BIN_V * scale * 1e3
