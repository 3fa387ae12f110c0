"""Cranks: the starter turning, found in seconds and measured in samples.

With amps: a discharge far above any key-on load; with volts alone: a dip that recovers. It is `sure` when it pulls the
volts down as only a starter does, or draws more than anything else, and does not die away smoothly as glow plugs do.
What is not sure (a warm restart averaged over a second, glow plugs, a pump) is a crank if an engine runs behind it,
which the phases decide.
Warm-up: none, but the volts before need one sample before the dip. A gap ends a crank where it begins.

Figures follow the trade: apparent resistance ΔV/ΔI against the load before (one-load form r = (E − V)/I); compression
ripple f = rpm/60 × cylinders/2 (four-stroke). Inrush is left out of the plateau.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monitor.base.results import BOUND_HZ, Crank
from monitor.base.samples import SECOND_US, Block, Bools, Floats, Indexes, Ints, Seconds
from monitor.detect.crank_current import ripple_hz, turned_s
from monitor.detect.facts import Facts
from monitor.detect.known import median_of

CRANK_A = 50.0  # no key-on load but a starter draws this on a car; our choice: glow plugs are told apart by the dip
CRANK_PER_AH = 0.7  # a small battery has a small starter: 0.7 A per Ah of capacity; our choice
SPIKE_SHARE = 0.7  # a warm restart of half a second, averaged over one, still draws this share of the threshold
SLOW_SHARE, SLOW_S = 0.3, 2  # averaged over a longer interval than this, even less
PEAK_SHARE = 0.18  # the starter turns while the current is over this share of its peak: inrush is 2–4 × the plateau
DIP_V = 0.6  # volts alone: the least fall of a crank; our choice: a warm start on a large battery falls 1 V
DIP_SHARE = 0.25  # volts alone: turning while the dip is deeper than this share of its deepest; inrush included
DIP_BELOW_V = 11.95  # …and it must come below this: a rested battery under any other load stays above; our choice
HOLDS_V = 12.3  # a starter pulls any battery below this, even averaged over a second; our choice
DEEP_V = 8.0  # no other load pulls a battery so low: 140 A of glow plugs leave a worn one 9 V; our choice
SURE_TIMES = 2.5  # so many times the threshold is a crank however little the volts fall
FADED = 0.8  # glow plugs fall below this share of their first current, a starter under load does not; our choice
HELD_SHARE = 0.93  # …to which a starter keeps, its first and last samples left out; our choice
HEAVY_TIMES = 1.5  # more than a running vehicle's bursts of load take from the battery; our choice
GLOW_S, INRUSH_OVER_S, INRUSH_TIMES = 2.5, 0.3, 1.4  # glow plugs: longer, dying away smoothly, no inrush; our choice
RISES_SHARE = 0.3  # of its peak a starter rises over what was drawn before it; our choice
BEFORE, LAST, ALIKE_A = 10, 3, 5.0  # samples looked at before a crank; of these the last; A within one state
LEAD_SHARE, LEAD_LEAST_S = 0.7, 2.0  # glow plugs before a starter: so much of what it draws, so long; our choice
LEVEL_AT, LOADS_SHARE = 0.9, 0.5  # of what flows behind the inrush; the loads of a running engine are less. Our choice
PAUSE_S = 1.0  # a longer pause makes two cranks of it; our choice
LEAD_S = 4  # seconds of samples kept before a dip, for the volts before
BEHIND_S = 10  # a load so soon behind a crank may be one that goes on; our choice
SETTLE_S = 2  # seconds without a dip that end the search
LONGEST_S = 30  # a longer heavy load is no crank: starters are limited to 15 s
INRUSH_S = 0.15  # left out of the plateau: inrush lasts 20–60 ms (from memory), plus one sample
RIPPLE_HZ = 25.0  # the least sampling rate that carries the compression ripple (5–13 Hz) safely
PLATEAU_HZ = 5.0  # the least sampling rate that shows a plateau apart from the inrush
DURATION_HZ = 0.9  # slower loggers show a crank as one sample, or one with glow plugs before it: no duration
RESISTANCE_HZ = 0.9  # slower loggers average or miss the dip: no resistance
KEPT = 3  # samples kept before a dip, however long ago


@dataclass(slots=True)
class CrankState:
    """Samples kept back, the seconds before, the dip being followed (None: none), and the end of the last crank."""

    samples: list[Block] = field(default_factory=list)
    volts_before: list[float] = field(default_factory=list)
    opened_s: int | None = None
    last_dip_s: int = 0
    last_s: int | None = None
    found_s: int | None = None
    reference_v: float = float("nan")
    celsius: float = float("nan")


@dataclass(frozen=True, slots=True)
class Found:
    """A crank, the instants it began and ended (µs), whether it can be nothing else, and whether it drew much.

    lead_us  when the lesser load began that ran into it, as glow plugs do; its beginning where there was none
    """

    start_us: int
    end_us: int
    crank: Crank
    sure: bool
    heavy: bool
    lead_us: int

    @property
    def may_be_blurred(self) -> bool:
        """Whether the logger shows a warm restart, but not for what it is; what it does show may be too little."""
        return self.heavy or DURATION_HZ <= (self.crank.sampled_hz or 0.0) < PLATEAU_HZ


class CrankDetector:
    """Follows the log second by second; a crank is told once SETTLE_S of data behind it are known."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        scale = facts.scale
        by_capacity = None if facts.capacity_ah is None else max(10.0, CRANK_PER_AH * facts.capacity_ah)
        self.amps = CRANK_A if by_capacity is None else min(CRANK_A, by_capacity)
        self.dip_v, self.below_v = DIP_V * scale, DIP_BELOW_V * scale
        self.state = CrankState()

    def update(self, samples: Block, seconds: Seconds) -> tuple[list[Found], int | None]:
        """Cranks now certain, and the second from which on none is (None: all of the given seconds are decided)."""
        state = self.state
        found: list[Found] = []
        if not len(seconds):
            return found, state.opened_s
        previous = np.concatenate([[seconds.second[0] if state.last_s is None else state.last_s], seconds.second[:-1]])
        before, dip = self._dips(seconds, previous)
        dips = np.flatnonzero(dip)
        if state.opened_s is None and not len(dips):
            self._keep(samples)
            return found, None
        if len(samples):
            state.samples.append(samples)
        position = 0
        while position < len(seconds):
            if state.opened_s is None:
                later = dips[dips >= position]
                if not len(later):
                    break
                position = int(later[0])
                state.opened_s = state.last_dip_s = int(seconds.second[position])
                state.reference_v = float(before[position])
                state.celsius = float(seconds.celsius[position])
            position = self._follow(seconds, dip, previous, position)
            if position < len(seconds):
                found += self._measured(state.opened_s, state.last_dip_s)
                state.opened_s = None
        self._keep(samples[:0])
        return found, state.opened_s

    def flush(self) -> list[Found]:
        """The crank the log ends in, if any."""
        state = self.state
        if state.opened_s is None:
            return []
        found = self._measured(state.opened_s, state.last_dip_s)
        state.opened_s = None
        return found

    def _follow(self, seconds: Seconds, dip: Bools, previous: Ints, position: int) -> int:
        """Index of the first second that is certain to lie behind the open dip; the length if none is yet.

        With volts alone, seconds that stay low count as well: the volts before are soon out of sight. On a slow logger
        the dip goes on in the very next second that there is (`previous`: the one before each).
        """
        state = self.state
        opened_s = state.last_dip_s if state.opened_s is None else state.opened_s
        low = np.isnan(seconds.amps_min) & (state.reference_v - seconds.volts >= self.dip_v / 2)
        goes_on = dip | (low & (seconds.second <= opened_s + LONGEST_S))
        latest_s = opened_s + 2 * LONGEST_S
        for row in position + np.flatnonzero(goes_on[position:]):
            at = int(seconds.second[row])
            near = at <= state.last_dip_s + SETTLE_S or int(previous[row]) == state.last_dip_s
            if not near or at > latest_s:
                break
            state.last_dip_s, position = at, int(row)
        behind = np.flatnonzero(seconds.second[position:] > min(state.last_dip_s + SETTLE_S, latest_s))
        return position + int(behind[0]) if len(behind) else len(seconds)

    def _dips(self, seconds: Seconds, previous: Ints) -> tuple[Floats, Bools]:
        """The highest volts of the seconds before each, and whether a crank may lie in it."""
        state = self.state
        lead = len(state.volts_before)
        known = np.concatenate([np.full(LEAD_S - lead, np.nan), state.volts_before, seconds.volts_max])
        state.volts_before = known[-LEAD_S:].tolist()
        before = np.fmax.reduce([known[k : k + len(seconds)] for k in range(LEAD_S)])
        slow = seconds.second - previous > SLOW_S
        state.last_s = int(seconds.second[-1])
        heavy = seconds.amps_min <= -np.where(slow, SLOW_SHARE, SPIKE_SHARE) * self.amps
        low = (before - seconds.volts_min >= self.dip_v) & (seconds.volts_min <= self.below_v)
        return before, np.where(np.isnan(seconds.amps_min), low, heavy)

    def _keep(self, samples: Block) -> None:
        """Keep the samples that a dip may need: from LEAD_S before it, and KEPT before it however old."""
        state = self.state
        blocks = [*state.samples, samples] if len(samples) else state.samples
        if not blocks:
            return
        t_us = np.concatenate([b.t_us for b in blocks])
        opened_s = int(t_us[-1]) // SECOND_US if state.opened_s is None else state.opened_s
        until = len(t_us) if state.opened_s is None else int(np.searchsorted(t_us, opened_s * SECOND_US))
        first = min(int(np.searchsorted(t_us, (opened_s - LEAD_S) * SECOND_US)), max(until - KEPT, 0))
        kept = []
        for block in reversed(blocks):
            start = max(first - (len(t_us) - len(block)), 0)
            t_us = t_us[: len(t_us) - len(block)]
            if start < len(block):
                kept.append(_copy(block[start:]))
        state.samples = kept[::-1]

    def _measured(self, opened_s: int, last_dip_s: int) -> list[Found]:
        """The cranks among the samples from LEAD_S (or KEPT samples) before the dip to SETTLE_S (or one) after it."""
        blocks = self.state.samples
        t_us = np.concatenate([b.t_us for b in blocks])
        volts = np.concatenate([b.volts for b in blocks])
        amps = np.concatenate([np.full(len(b), np.nan) if b.amps is None else b.amps for b in blocks])
        onset = int(np.searchsorted(t_us, opened_s * SECOND_US))
        first = min(int(np.searchsorted(t_us, (opened_s - LEAD_S) * SECOND_US)), max(onset - KEPT, 0))
        behind = int(np.searchsorted(t_us, (last_dip_s + 1) * SECOND_US))
        until_s = min(last_dip_s + SETTLE_S, opened_s + 2 * LONGEST_S) + 1
        last = max(int(np.searchsorted(t_us, until_s * SECOND_US)), min(behind + 1, len(t_us)))
        part = slice(first, last)
        return list(self._spans(t_us[part], volts[part], amps[part], onset - first))

    def _spans(self, t_us: Ints, volts: Floats, amps: Floats, onset: int) -> list[Found]:
        step_us = float(np.median(np.diff(t_us[max(onset - 2, 0) :]))) if len(t_us) > onset + 1 else float("nan")
        hz = SECOND_US / step_us if step_us > 0 else float("nan")
        with_amps = bool(np.isfinite(amps[onset:]).any())
        before_volts = volts[:onset][np.isfinite(volts[:onset])]
        volts_before = (
            float(np.median(before_volts[-max(KEPT, round(hz) if hz > 0 else 0) :])) if len(before_volts) else None
        )
        pause_us = max(PAUSE_S * SECOND_US, 1.5 * step_us)
        if with_amps:
            spans = self._by_amps(t_us, amps, pause_us, SLOW_SHARE if step_us > SLOW_S * SECOND_US else SPIKE_SHARE)
        else:
            reference = volts_before if volts_before is not None else float(np.nanmax(volts))
            on = volts <= min(
                self.below_v + 0.3 * self.facts.scale, reference - DIP_SHARE * (reference - np.nanmin(volts))
            )
            spans = _split(np.flatnonzero(on), t_us, pause_us)
        found: list[Found] = []
        for span in spans:
            span = span[span >= onset]  # what lies before belongs to an earlier dip
            if not len(span):
                continue
            lead_us = int(t_us[span[0]])
            span = _without_loads(_starter(span, t_us, amps), amps, hz) if with_amps else span
            if with_amps and (found or self._cranked_before(int(t_us[span[0]]))) and _is_step(span, amps):
                continue  # loads that went on behind a crank
            crank = self._figures(t_us, volts, amps, span, volts_before, hz)
            if crank is not None:
                end_us = int(t_us[min(span[-1] + 1, len(t_us) - 1)])
                sure = self._is_sure(crank, t_us[span], amps[span])
                heavy = crank.amps_peak is not None and -crank.amps_peak >= HEAVY_TIMES * self.amps
                found.append(Found(crank.start, max(end_us, crank.start + 1), crank, sure, heavy, lead_us))
                self.state.found_s = end_us // SECOND_US
        return found

    def _cranked_before(self, at_us: int) -> bool:
        found_s = self.state.found_s
        return found_s is not None and at_us // SECOND_US - found_s <= BEHIND_S

    def _by_amps(self, t_us: Ints, amps: Floats, pause_us: float, share: float) -> list[Indexes]:
        """Spans of heavy load, each narrowed to what is over PEAK_SHARE of its own peak."""
        spans = []
        for heavy in _split(np.flatnonzero(amps <= -share * self.amps), t_us, pause_us):
            peak = float(np.nanmin(amps[heavy]))
            lasts = int(t_us[heavy[-1]] - t_us[heavy[0]]) > LONGEST_S * SECOND_US
            loads = float(np.nanmedian(amps[heavy])) if lasts else 0.0  # of an engine that runs and is not charged
            loads = loads if peak <= HEAVY_TIMES * loads else 0.0
            over = heavy[amps[heavy] <= loads + PEAK_SHARE * (peak - loads)]
            spans += _split(over, t_us, pause_us)
        return spans

    def _figures(
        self,
        t_us: Ints,
        volts: Floats,
        amps: Floats,
        span: Indexes,
        volts_before: float | None,
        hz: float,
    ) -> Crank | None:
        """The crank of one span of samples, or None when it is some other heavy load."""
        part = slice(int(span[0]), int(span[-1]) + 1)
        low = float(np.nanmin(volts[part])) if np.isfinite(volts[part]).any() else None
        dip = volts_before - low if volts_before is not None and low is not None else None
        peak = float(np.nanmin(amps[part])) if np.isfinite(amps[part]).any() else None
        length_s = (int(t_us[part.stop - 1]) - int(t_us[part.start])) / SECOND_US
        if length_s > LONGEST_S or (peak is None and not self._recovers(dip, volts, part)):
            return None
        rate_carries = hz > 1.5 or (hz >= DURATION_HZ and len(span) >= 3)
        start_us = int(t_us[part.start])
        crank = Crank(
            start=start_us,
            duration_s=length_s + 1 / hz if rate_carries else None,
            volts_before=volts_before,
            volts_min=low,
            amps_peak=peak,
            turned_s=turned_s(amps[part], hz, self.amps) if peak is not None and DURATION_HZ <= hz < BOUND_HZ else None,
            sampled_hz=hz if hz > 0 else None,
            celsius=None if np.isnan(self.state.celsius) else self.state.celsius,
        )
        if peak is None or not hz >= RESISTANCE_HZ:
            return crank
        volts_then, amps_then = _just_before(volts, amps, part.start)
        skip = int(np.ceil(INRUSH_S * hz)) if hz >= PLATEAU_HZ else 0
        plateau = slice(min(part.start + skip, part.stop - 1), part.stop)
        level_a, level_v = median_of(amps[plateau]), median_of(volts[plateau])
        if hz >= PLATEAU_HZ:
            crank.amps_plateau = level_a
        if volts_then is None or amps_then is None or level_a is None or level_v is None:
            return crank
        if amps_then - level_a > self.amps / 2:
            crank.resistance_mohm = 1000.0 * (volts_then - level_v) / (amps_then - level_a)
        if hz >= RIPPLE_HZ:
            crank.ripple_hz = ripple_hz(amps[plateau], hz)
            if crank.ripple_hz is not None:
                crank.engine_rpm = 60.0 * crank.ripple_hz * 2.0 / self.facts.cylinders
        return crank

    def _recovers(self, dip: float | None, volts: Floats, part: slice) -> bool:
        """Volts alone: a dip deep enough, and volts that come back behind it."""
        after = volts[part.stop : part.stop + 2]
        back = len(after) == 0 or float(np.nanmax(after)) > float(np.nanmin(volts[part])) + self.dip_v / 2
        return dip is not None and dip >= self.dip_v and back

    def _is_sure(self, crank: Crank, t_us: Ints, amps: Floats) -> bool:
        """Whether these samples can only be a starter."""
        if crank.amps_peak is None or crank.volts_min is None:
            return True
        if crank.volts_min > HOLDS_V * self.facts.scale:
            return False
        dip = 0.0 if crank.volts_before is None else crank.volts_before - crank.volts_min
        heavy = -crank.amps_peak >= SURE_TIMES * self.amps or (-crank.amps_peak >= self.amps and dip >= self.dip_v)
        long = int(t_us[-1]) - int(t_us[0]) >= GLOW_S * SECOND_US
        top = int(np.nanargmin(amps))
        falls = np.diff(amps[top:]) >= 0.03 * crank.amps_peak
        early = top <= 1 or int(t_us[top] - t_us[0]) <= INRUSH_OVER_S * SECOND_US
        smooth = early and np.count_nonzero(falls) >= 0.9 * len(falls) and bool(amps[-1] > 0.9 * crank.amps_peak)
        smooth = smooth and not _holds(amps[1:-1])
        later = amps[t_us >= t_us[0] + INRUSH_OVER_S * SECOND_US]
        fast = (crank.sampled_hz or 0.0) >= PLATEAU_HZ and len(later) > 0
        inrush = fast and -crank.amps_peak >= INRUSH_TIMES * -float(np.nanmin(later))
        deep = crank.volts_min <= DEEP_V * self.facts.scale
        third = len(amps) // 3
        fades = third > 0 and float(np.median(amps[-third:])) > FADED * float(np.median(amps[top : top + third]))
        return heavy and (inrush or not (long and smooth) or (deep and not fades))


def _is_step(span: Indexes, amps: Floats) -> bool:
    """Whether the load hardly rises over what was drawn just before it: a starter takes a multiple of that."""
    before = amps[max(int(span[0]) - LAST, 0) : int(span[0])]
    known = before[np.isfinite(before)]
    peak = float(np.nanmin(amps[span]))
    return bool(len(known)) and float(known.max()) < (1 - RISES_SHARE) * peak


def _just_before(volts: Floats, amps: Floats, start: int) -> tuple[float | None, float | None]:
    """Volts and amps of one state, the last before the crank: of glow plugs only what is left of them then."""
    window = slice(max(start - BEFORE, 0), start)
    known = np.isfinite(volts[window]) & np.isfinite(amps[window])
    if not known.any():
        return None, None
    v, a = volts[window][known], amps[window][known]
    alike = np.abs(a - a[-LAST:].max()) <= ALIKE_A
    return float(np.median(v[alike])), float(np.median(a[alike]))


def _starter(span: Indexes, t_us: Ints, amps: Floats) -> Indexes:
    """The span from where the starter begins: a lesser load that ran into it, as glow plugs do, is left out.

    The starter is what draws the peak, at its inrush, and what follows; before it, less for LEAD_LEAST_S.
    """
    drain = -amps[span]
    top = int(np.nanargmax(drain))
    then = median_of(drain[top : top + max((len(drain) - top) // 2, 1)])
    lead = median_of(drain[:top])
    if then is None or lead is None or lead > LEAD_SHARE * then:
        return span
    begins = top - int(np.argmax(~(drain[top::-1] > (lead + then) / 2))) + 1
    return span[begins:] if int(t_us[span[begins]] - t_us[span[0]]) >= LEAD_LEAST_S * SECOND_US else span


def _without_loads(span: Indexes, amps: Floats, hz: float) -> Indexes:
    """The span without the loads of the engine that runs then: half of the starter's own current and less.

    Held against the inrush, as by PEAK_SHARE, they would belong to it; for loggers that show both.
    """
    skip = int(np.ceil(INRUSH_S * hz)) if hz >= PLATEAU_HZ else len(span)
    if len(span) <= 2 * skip:
        return span
    steady = -amps[span[skip:]]
    level = float(np.nanquantile(steady, LEVEL_AT))
    over = np.flatnonzero(steady >= LOADS_SHARE * level)
    return span[: skip + int(over[-1]) + 1] if len(over) else span


def _holds(amps: Floats) -> bool:
    """Whether a load that has begun goes on as it is: a starter under load does, glow plugs draw less and less."""
    third = max(len(amps) // 3, 1)
    return len(amps) > 1 and float(np.median(amps[-third:])) < HELD_SHARE * float(np.median(amps[:third]))


def _split(rows: Indexes, t_us: Ints, pause_us: float) -> list[Indexes]:
    """Runs of rows between which no more than `pause_us` passes."""
    return [run for run in np.split(rows, np.flatnonzero(np.diff(t_us[rows]) > pause_us) + 1) if len(run)]


def _copy(block: Block) -> Block:
    """Own arrays, so that a kept tail does not hold a whole block in memory."""
    amps = None if block.amps is None else block.amps.copy()
    return Block(block.t_us.copy(), block.volts.copy(), amps, None)
