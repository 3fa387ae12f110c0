"""Wake-up groups: wake-ups alike in size, length and shape, over all stands; most likely one module each.

Each wake-up is a point (log excess, log length, log peak over excess); points closer than ALIKE join, and so do their
neighbours, as long as a group stays within SPREAD of its middle. The rhythm is then the median of the intervals within
a stand, jitter their scaled median deviation; a wake-up that was missed counts as a multiple. Plain numpy: scipy's
clustering takes half a second to import, more than a week's replay may gain.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from monitor.assess.patterns import pattern_of
from monitor.base.results import Result, Stand, WakeUp, WakeUpGroup
from monitor.base.samples import Floats

# Scales of likeness: a logger at 1 Hz tells the length of a short wake-up to a second, its excess to some 10 %.
EXCESS_TIMES, LENGTH_TIMES, SHAPE_TIMES = 1.35, 1.45, 1.6  # alike within these factors; our choice
LENGTH_DOUBT_S = 1.0  # edges of a wake-up are known to this
SPREAD = 1.5  # a group reaches no further from its middle than this many scales; our choice
REGULAR = 0.25  # jitter over period below this is a rhythm; random intervals have about 0.7 (exponential)
RHYTHM_LEAST = 3  # intervals
MULTIPLES = 6  # missed wake-ups in a row, at most, that are folded into the period
GROWING_NIGHTS, GROWING_TIMES, GROWING_P = 4, 1.3, 0.05  # the first test of growth; our choice
MAD_TO_SIGMA = 1.4826


@dataclass(frozen=True, slots=True)
class Member:
    """A wake-up and the stand it lies in (its number)."""

    wake: WakeUp
    stand: int


def group_wake_ups(result: Result) -> list[WakeUpGroup]:
    """Find the groups, largest charge first, and write their numbers into the wake-ups of `result`."""
    stands = sorted(result.stands, key=lambda stand: stand.start)
    members = [Member(wake, k) for k, stand in enumerate(stands) for wake in stand.wake_ups]
    if not members:
        return []
    labels = _labels(_points([m.wake for m in members], [_level_a(stands[m.stand], m.wake) for m in members]))
    sets: dict[int, list[Member]] = defaultdict(list)
    for member, label in zip(members, labels, strict=True):
        sets[label].append(member)
    out_ah = sum(stand.charge_out_ah or 0.0 for stand in stands)
    ordered = sorted(sets.values(), key=lambda s: (-sum(m.wake.charge_ah for m in s), s[0].wake.start))
    groups = []
    for number, chosen in enumerate(ordered, start=1):
        for member in chosen:
            member.wake.group = number
        groups.append(_group(number, chosen, stands, out_ah))
    return groups


def sentences(groups: list[WakeUpGroup]) -> list[str]:
    """The groups worth telling: with a rhythm or a pattern, growing, or a tenth of the charge."""
    told = []
    for group in groups:
        if group.count < RHYTHM_LEAST and not (group.share or 0.0) >= 0.1:
            continue
        rhythm = ""
        if group.period_s is not None and group.period_jitter_s is not None:
            rhythm = f" every {group.period_s / 60:.1f} min (± {group.period_jitter_s / 60:.1f})"
        share = f", {group.share * 100:.0f} % of what left the battery standing" if group.share is not None else ""
        text = (
            f"Group {group.group}: {group.count} wake-ups{rhythm}, {group.duration_s:.0f} s long,"
            f" {group.excess_a * 1000:.0f} mA above sleep, {group.charge_ah:.2f} Ah in all{share}."
        )
        if group.pattern is not None:
            text += f" Fits {group.pattern}"
            text += "; but it grows, which is not." if group.growing else "."
        elif group.growing:
            text += " It takes more from night to night."
        told.append(text)
    return told


def _level_a(stand: Stand, wake: WakeUp) -> float:
    """Level under a wake-up, A, positive: of the plateau it lies in, else the stand's."""
    for plateau in stand.plateaus:
        if plateau.start <= wake.start < plateau.end:
            return -plateau.amps
    return stand.sleep_current_a or 0.0


def _points(wakes: list[WakeUp], levels_a: list[float]) -> Floats:
    """Points in scales of likeness, shape (n, 3)."""
    excess = np.array([max(w.excess_a, 1e-6) for w in wakes])
    length = np.array([max((w.end - w.start) / 1e6, 0.1) for w in wakes])
    peak = np.array([w.peak_a for w in wakes]) - np.array(levels_a)
    shape = np.maximum(peak / excess, 1.0)  # a peak under the mean is the level's own drift
    # a second's doubt is small beside a minute and large beside two
    seconds = np.log(length + LENGTH_DOUBT_S)
    return np.column_stack(
        [np.log(excess) / np.log(EXCESS_TIMES), seconds / np.log(LENGTH_TIMES), np.log(shape) / np.log(SHAPE_TIMES)]
    )


def _labels(points: Floats) -> list[int]:
    """A label for each point: the densest first, all within SPREAD of its median; repeated until none is left."""
    left = np.arange(len(points))
    labels = np.zeros(len(points), np.int64)
    label = 0
    while len(left):
        part = points[left]
        seeds = part[:: max(1, len(part) // 200)]  # enough to find where most lie
        crowd = [int(np.sum(np.max(np.abs(part - seed), axis=1) <= 1.0)) for seed in seeds]
        centre = seeds[int(np.argmax(crowd))]
        for _ in range(5):  # the middle settles within a few rounds
            near = np.max(np.abs(part - centre), axis=1) <= SPREAD
            if not near.any():
                near = np.max(np.abs(part - seeds[int(np.argmax(crowd))]), axis=1) <= SPREAD
                break
            centre = np.median(part[near], axis=0)
        near = near if near.any() else np.ones(len(part), np.bool_)
        labels[left[near]] = label
        left = left[~near]
        label += 1
    return [int(x) for x in labels]


def _group(number: int, members: list[Member], stands: list[Stand], out_ah: float) -> WakeUpGroup:
    wakes = [m.wake for m in members]
    lengths = [(w.end - w.start) / 1e6 for w in wakes]
    charge = sum(w.charge_ah for w in wakes)
    period, jitter = _rhythm(members)
    excess = float(np.median([w.excess_a for w in wakes]))
    length = float(np.median(lengths))
    after_s = [(m.wake.start - stands[m.stand].start) / 1e6 for m in members]
    per_stand = max(np.bincount([m.stand for m in members]).tolist())
    return WakeUpGroup(
        group=number,
        count=len(wakes),
        excess_a=excess,
        duration_s=length,
        period_s=period,
        period_jitter_s=jitter,
        charge_ah=charge,
        share=min(charge / out_ah, 1.0) if out_ah > 0 else None,
        first=min(w.start for w in wakes),
        last=max(w.start for w in wakes),
        pattern=pattern_of(excess, length, period, after_s, per_stand),
        growing=_growing(members, stands),
    )


def _rhythm(members: list[Member]) -> tuple[float | None, float | None]:
    """Period and jitter, s; None, None where the intervals show no rhythm."""
    apart = np.array([(b.wake.start - a.wake.start) / 1e6 for a, b in pairwise(members) if a.stand == b.stand])
    if len(apart) < RHYTHM_LEAST:
        return None, None
    base = float(np.median(apart[apart <= 1.5 * np.quantile(apart, 0.25)]))
    times = np.clip(np.round(apart / base), 1, None)
    folded = apart[times <= MULTIPLES] / times[times <= MULTIPLES]
    period = float(np.median(folded))
    jitter = MAD_TO_SIGMA * float(np.median(np.abs(apart - times * period)))
    # folding makes anything look regular once the base is short: only few may need it
    if jitter > REGULAR * period or np.mean(times == 1) < 0.5:
        return None, None
    return period, jitter


def _growing(members: list[Member], stands: list[Stand]) -> bool | None:
    """Whether what the group takes an hour rises over the stands; None: too few to tell."""
    taken: dict[int, float] = defaultdict(float)
    for member in members:
        taken[member.stand] += member.wake.charge_ah
    rates = []
    for k, stand in enumerate(stands):
        if stand.settled_at is None or stand.end is None or stand.end - stand.settled_at < 4 * 3600e6:
            continue
        rates.append(taken[k] / ((stand.end - stand.settled_at) / 3600e6))
    if len(rates) < GROWING_NIGHTS:
        return None
    third = max(len(rates) // 3, 1)
    if np.median(rates[-third:]) < GROWING_TIMES * max(float(np.median(rates[:third])), 1e-9):
        return False
    from scipy.stats import kendalltau  # only here: it takes a second to import, and few logs come this far

    return bool(kendalltau(range(len(rates)), rates, alternative="greater").pvalue < GROWING_P)
