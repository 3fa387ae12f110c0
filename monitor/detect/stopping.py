"""When the engine stopped: the step by which the battery took over the loads, found in hindsight.

Looked for in the seconds behind the last proof of running. An engine-managed alternator may have carried the loads
for part of them: there the battery current is small and restless, while behind an engine stop it is the staircase of
a shutdown: large at first, then calm. So the stop is the first step into discharge that is not followed by a restless
small current, nor taken back before the next step: an alternator may leave all loads to the battery for half a minute,
as after braking, and the engine still runs. One that ran without charge is followed instead by a fall of its loads.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from monitor.base.samples import Floats, Seconds
from monitor.detect.facts import Facts
from monitor.detect.known import least_of, median_of

STEP_A = 1.2  # the least step of battery current into discharge at an engine stop; our choice
STEP_V, STEP_OHM = 0.005, 0.0012  # …with so much fall of the volts, and so much for its size: half of a large battery's
STEP_ALONE_V = 0.12  # volts alone
CHARGED_A = 0.3  # charge current beyond the logger's zero; our choice
CARRIED_A = 4.0  # an alternator that carries the loads leaves less than this to the battery
RESTLESS_A, RESTLESS_SHARE, RESTLESS_ROWS = 0.08, 0.04, 5  # median change over 5 s while an engine runs; our choice
RISES_SHARE = 0.95  # of the seconds of a shutdown no load comes on; our choice
CALM_A, CALM_SHARE, CALM_S = 1.0, 0.6, 180  # a vehicle at rest: so little for so much of so long a time; our choice
STEADY_A = 3.0  # …or so little in the end of it: something was left on, or does not sleep; our choice
KEPT_A = 0.1  # a battery that is charged so little is kept charged by something
HELD_V, SAME_A, BEFORE = 0.03, 0.5, 6  # volts and current as before a step, over so many rows: it has passed
LOADED_A, LOADED_S = 8.0, 60  # ignition, injection and pump of an engine that runs without charge (common practice)
UNLOADED_SHARE = 0.4  # of its loads fall away when it stops; a blower or lamps are less; our choice
FALLEN_S, BACK_SHARE = 30, 0.9  # so long, and lamps that light the way home may bring so much back later; our choice
SIDE = 3  # seconds compared on each side of a step
CALMED_ROWS, CALMED_TIMES = 15, 5.0  # seconds, more than a step moves; the spread of a constant one in its noise
RID_A, RID_S = 0.05, 180  # charged so little is kept; so soon behind the step. Our choice
HELD_ROWS = 10  # so long a constant load is a stage of the shutdown, whatever comes on behind it; our choice
RID_SHARE = 0.5  # of the load it carried, and of the next: the alternator had taken it back; our choice
# Seconds: so long the first stage of a shutdown may change, and at most so long an alternator leaves all loads to the
# battery; and those of a constant current. Our choice.
RESTLESS_LEAST, RESTLESS_MOST, SAME_ROWS = 6, 30, 4
CERTAIN_SHARE = 0.5  # the current fell to this share of its peak, or is calm: the shutdown is under way


@dataclass(frozen=True, slots=True)
class StopFound:
    """The first held row behind the stop, and how it looks.

    drain_at_end_a   A; None without amps
    certain          the shutdown is under way in the end
    stepped          there was a step onto the battery; without one, `row` is where the proof of running ended
    """

    row: int
    drain_at_end_a: float | None
    certain: bool
    stepped: bool = True


def is_calm(before: Seconds, seconds: Seconds, facts: Facts) -> bool:
    """Whether the seconds between two proofs of charge, the first `before` them, are a vehicle at rest (amps needed).

    An alternator that just carries the loads is as calm, but it holds the volts or charges a little.
    """
    drain = np.abs(seconds.amps)
    if len(drain) < 3 or int(seconds.second[-1]) - int(seconds.second[0]) < CALM_S or np.isnan(drain).all():
        return False
    late = drain[seconds.second >= seconds.second[-1] - CALM_S]
    at_last = np.count_nonzero(late < STEADY_A) >= CALM_SHARE * len(late) and not is_restless(late)
    calm = at_last or (np.count_nonzero(drain < CALM_A) >= CALM_SHARE * len(drain) and not is_restless(drain))
    was_v, is_v = median_of(before.volts), median_of(seconds.volts[-BEFORE:])
    fell = was_v is None or is_v is None or was_v - is_v >= HELD_V * facts.scale
    charged = (median_of(seconds.amps) or 0.0) >= KEPT_A + facts.zero_offset_a
    return bool(calm) and fell and not charged


def is_loaded(seconds: Seconds, facts: Facts) -> bool:
    """Whether an engine that does not charge still runs at the end of these seconds, its loads on the battery."""
    late = seconds.second >= seconds.second[-1] - LOADED_S if len(seconds) else np.empty(0, np.bool_)
    return _loaded(-seconds.amps[late], facts.loads)


def find_stop(tail: Seconds, held: Seconds, proved: int, charged: bool, facts: Facts) -> StopFound:
    """The stop among the `held` seconds, behind the `tail` told before; held[proved] is the first without proof.

    `charged`: the alternator was seen at work in this drive.
    """
    lead = len(tail)
    if not len(held):
        return StopFound(0, None, False)
    volts = np.concatenate([tail.volts, held.volts])
    drain = -np.concatenate([tail.amps, held.amps])
    if not np.isfinite(drain).any():
        return _by_volts(volts, lead, proved, facts.scale)
    last = len(drain) - 1
    if not charged and _loaded(drain[lead + proved : lead + proved + LOADED_S], facts.loads):
        found = _unloaded(drain, min(lead + proved + SIDE, last), facts.loads)
        row = last if found is None else found
    else:
        found = _taken_over(volts, drain, max(_charged_until(drain), lead), facts)
        row = max(lead + proved, min(_charged_until(drain), last)) if found is None else found
    behind = drain[row:][np.isfinite(drain[row:])]
    end = float(np.median(behind[-10:])) if len(behind) else None
    peak = float(np.median(np.sort(behind)[-10:])) if len(behind) else 0.0
    certain = end is not None and end < max(CERTAIN_SHARE * peak, CALM_A)
    return StopFound(row - lead, end, certain, found is not None)


def _charged_until(drain: Floats) -> int:
    """The row behind the last one in which the battery was charged: an engine ran until there.

    The logger's zero may be off: what remains in the end, if it is small, is taken for its zero.
    """
    rows = np.flatnonzero(drain < _zero(drain) - CHARGED_A)
    return int(rows[-1]) + 1 if len(rows) else 0


def _zero(drain: Floats) -> float:
    rest = median_of(drain[-LOADED_S:])
    return min(rest, 0.0) if rest is not None and abs(rest) < CALM_A else 0.0


def _taken_over(volts: Floats, drain: Floats, lead: int, facts: Facts) -> int | None:
    """The first step into discharge behind which the alternator no longer carries the loads; None without a step."""
    scale = facts.scale
    steps = _steps(volts, drain, lead, scale, STEP_A * facts.loads)
    first = drain[lead : steps[0]] if steps else drain[lead:]
    if len(first) >= SIDE and lead and _carries(first):  # the step itself was lost among the swings before it
        return lead
    for k, until in itertools.pairwise([*steps, len(drain)]):
        ran_on = _carried(drain[k:until]) or _relieved(drain, k, steps) or _carried_again(drain[k:])
        if not ran_on and not _passing(volts, drain, k, until, scale):
            return k + _restless_rows(drain[k:])
    lasting = [k for k in steps if not _passing(volts, drain, k, len(drain), scale)]
    begin = lasting[-1] if lasting else lead
    calmed = _calmed(drain[begin:])
    return begin + calmed if calmed is not None else lasting[-1] if lasting else None


def _calmed(drain: Floats) -> int | None:
    """The row from which a current that wandered is constant: the loads that an alternator carried are gone.

    None where it is not constant in the end, or was so all the time.
    """
    if len(drain) < LOADED_S + CALMED_ROWS or not np.isfinite(drain).all() or is_restless(drain[-LOADED_S:]):
        return None
    change = np.abs(drain[RESTLESS_ROWS:] - drain[:-RESTLESS_ROWS])
    change = np.median(np.lib.stride_tricks.sliding_window_view(change, CALMED_ROWS), axis=1)
    restless = np.flatnonzero(change >= np.maximum(RESTLESS_A, RESTLESS_SHARE * np.abs(drain[: len(change)])))
    if len(restless) < CALMED_ROWS:
        return None
    last = int(restless[-1])
    noise = float(np.median(np.abs(np.diff(drain[-LOADED_S:]))))
    constant = np.ptp(np.lib.stride_tricks.sliding_window_view(drain[last:], SIDE), axis=1)
    rows = np.flatnonzero(constant <= max(RESTLESS_A, CALMED_TIMES * noise))
    return last + int(rows[0]) if len(rows) else None


def _steps(volts: Floats, drain: Floats, lead: int, scale: float, step_a: float) -> list[int]:
    """Rows at which the battery takes over: the sharpest row of each step into discharge."""
    more = _ahead(drain, SIDE) - _behind(drain, SIDE)
    fall = _behind(volts, SIDE) - _ahead(volts, SIDE)
    is_step = (more >= step_a) & (fall >= scale * np.maximum(STEP_V, STEP_OHM * more))
    is_step[:lead] = False
    rows = np.flatnonzero(is_step)
    sharp = np.diff(drain, prepend=drain[0])
    runs = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    return [int(run[np.argmax(np.nan_to_num(sharp[run], nan=-np.inf))]) for run in runs if len(run)]


def _unloaded(drain: Floats, lead: int, share: float) -> int | None:
    """The first fall of an uncharged engine's loads by UNLOADED_SHARE behind which they do not come back in full.

    Where what is left is still an engine's, large and restless, a blower or lamps were turned off: a later fall counts.
    """
    loads = drain[lead:]  # the crank before is none of them
    before = _behind(loads, SIDE)
    known = np.nan_to_num(loads)
    soon = np.lib.stride_tricks.sliding_window_view(np.append(known, np.zeros(FALLEN_S)), FALLEN_S + 1).max(axis=1)
    ever = np.maximum.accumulate(known[::-1])[::-1]
    fallen = (soon <= (1.0 - UNLOADED_SHARE) * before) & (ever <= BACK_SHARE * before)
    rows = np.flatnonzero((before - soon >= STEP_A * share) & fallen)
    falls: list[int] = rows[np.diff(rows, prepend=-SIDE) > 1].tolist()
    for k, until in itertools.pairwise([*falls, len(loads)]):
        left = loads[k + SIDE : until]
        if not (_loaded(left, share) and is_restless(left)):
            return lead + k
    return None


def _behind(values: Floats, n: int) -> Floats:
    """Median of the n values before each row (fewer at the beginning)."""
    padded = np.concatenate([np.full(n, values[0]), values])
    middle: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, n)[: len(values)], axis=1)
    return middle


def _ahead(values: Floats, n: int) -> Floats:
    """Median of each row and the n − 1 behind it (fewer at the end)."""
    padded = np.concatenate([values, np.full(n - 1, values[-1])])
    middle: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, n), axis=1)
    return middle


def _loaded(drain: Floats, share: float) -> bool:
    known = drain[np.isfinite(drain)]
    return len(known) >= SIDE and float(np.median(known)) >= LOADED_A * share


def _carried(drain: Floats) -> bool:
    """Whether the alternator carried the loads in this stretch: soon over, or little drain, and restless."""
    known = drain[1 : LOADED_S + 1][np.isfinite(drain[1 : LOADED_S + 1])]
    return len(known) < SIDE or (float(np.median(known)) < CARRIED_A and is_restless(known) and not _only_falls(known))


def _carried_again(drain: Floats) -> bool:
    """Whether the alternator, soon behind a step, carried the loads once more: little, and restless for a minute.

    Unlike the end, which is calm.
    """
    low = np.flatnonzero(drain[:RID_S] < CARRIED_A)
    rest = drain[low[0] : low[0] + 2 * LOADED_S] if len(low) else drain[:0]
    if len(rest) < LOADED_S or not np.isfinite(rest).all() or not is_restless(rest) or _only_falls(rest):
        return False
    change, noise = (float(np.median(np.abs(np.diff(d)))) for d in (rest, drain[-LOADED_S:]))
    return change >= CALMED_TIMES * noise


def _only_falls(drain: Floats) -> bool:
    """Whether the current goes down and never up again: the stages of a shutdown, however short each of them is."""
    change = drain[RESTLESS_ROWS:] - drain[:-RESTLESS_ROWS]
    return len(change) >= CALMED_ROWS and float(np.quantile(change, RISES_SHARE)) < RESTLESS_A


def _relieved(drain: Floats, k: int, steps: list[int]) -> bool:
    """Whether the battery, behind the step at `k`, was rid of its load again before another: it only helped out.

    Charged a little it is kept by something; and no vehicle that is shut down falls so low within a minute to draw more
    again, or begins with the least.
    """
    zero = _zero(drain)
    for again in steps:
        if not SIDE <= again - k <= RID_S or len(drain) - again < CALM_S:  # a key that is turned before a crank
            continue
        rid, then = least_of(drain[again - SIDE : again]), median_of(drain[again : again + SIDE]) or 0.0
        if rid is None:
            continue
        load = median_of(drain[k : k + SIDE]) or 0.0
        fell = rid <= RID_SHARE * min(then, load) or load <= RID_SHARE**2 * then
        held = drain[max(k + SIDE, again - HELD_ROWS) : again]
        stage = len(held) == HELD_ROWS and rid >= STEP_A and float(np.ptp(held)) <= RESTLESS_A + RESTLESS_SHARE * rid
        if rid < zero - RID_A or (again - k <= LOADED_S and fell and not stage):
            return True
    return False


def _restless_rows(drain: Floats) -> int:
    """Rows for which the current keeps changing behind the step, before it is constant: the engine still ran in them.

    0 where they are few or many, where the rest is not plainly calmer, and before a crank: loads of a vehicle that is
    held ready change as well.
    """
    if len(drain) < RESTLESS_MOST + CALM_S or not np.isfinite(drain[: RESTLESS_MOST + 2 * SAME_ROWS]).all():
        return 0
    spread = np.ptp(np.lib.stride_tricks.sliding_window_view(drain, SAME_ROWS), axis=1)
    calm = np.flatnonzero(spread[:RESTLESS_MOST] <= RESTLESS_A + RESTLESS_SHARE * np.abs(drain[:RESTLESS_MOST]))
    if not len(calm) or calm[0] <= RESTLESS_LEAST:
        return 0
    begins = int(calm[0])
    if np.diff(drain[1 : begins + 1]).max() < RESTLESS_A:
        return 0  # the stages of a shutdown, each of them short
    before, behind = (
        np.quantile(np.abs(np.diff(d)), 0.75) for d in (drain[1:begins], drain[begins : begins + 2 * SAME_ROWS])
    )
    return begins if before >= CALMED_TIMES * max(float(behind), RESTLESS_A / 2) else 0


def _carries(drain: Floats) -> bool:
    """Whether the battery alone carries a load, and a constant one: no engine runs. A small load must be longer so."""
    known = drain[: LOADED_S + 1][np.isfinite(drain[: LOADED_S + 1])]
    level = float(np.median(known)) if len(known) >= SIDE else 0.0
    return (level >= CARRIED_A or (level >= STEP_A and len(known) >= CALMED_ROWS)) and not is_restless(known)


def _passing(volts: Floats, drain: Floats, k: int, until: int, scale: float) -> bool:
    """Whether the step at `k` is a load's: behind it the volts are held, and the current is, as before.

    Not where a current that wandered is constant behind it.
    """
    rows = min(LOADED_S, until - k)
    before, then = slice(max(k - BEFORE, 0), k), slice(k + rows // 3, k + rows)
    if rows == LOADED_S and is_restless(drain[max(k - CALMED_ROWS, 0) : k]) and not is_restless(drain[then]):
        return False
    was_v, is_v = median_of(volts[before]), median_of(volts[then])
    was_a, is_a = median_of(drain[before]), median_of(drain[then])
    if was_v is None or is_v is None or was_a is None or is_a is None:
        return False
    return was_v - is_v < HELD_V * scale and abs(is_a - was_a) < SAME_A


def is_restless(drain: Floats) -> bool:
    """Whether the current wanders as loads of a running engine do, not as the constant stages of a shutdown."""
    return wanders(drain, RESTLESS_SHARE)


def wanders(drain: Floats, share: float = 0.0) -> bool:
    """Whether the current changes by RESTLESS_A, and by `share` of itself, within RESTLESS_ROWS: lamps do not."""
    known = drain[np.isfinite(drain)]
    lag = RESTLESS_ROWS if len(known) > 3 * RESTLESS_ROWS else 1
    if len(known) <= lag:
        return False
    change = float(np.median(np.abs(known[lag:] - known[:-lag])))
    return change >= max(RESTLESS_A, share * float(np.median(np.abs(known))))


def _by_volts(volts: Floats, lead: int, proved: int, scale: float) -> StopFound:
    """Volts alone: the first fall around the end of the proof of running."""
    rows = np.flatnonzero(-np.diff(volts) >= STEP_ALONE_V * scale) + 1
    later = rows[rows >= lead + proved]
    row = int(later[0]) if len(later) else lead + proved
    return StopFound(row - lead, None, False)
