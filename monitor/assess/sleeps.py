"""Sleeps: what a stand drew on average once asleep, wake-ups included, what people switched on left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from monitor.base.results import Drive, Result, Stand, WakeUp

ASLEEP_LEAST_S = 3600.0  # modules may stay awake 60–75 min (service manuals): less sleep than that says nothing
NEVER_ASLEEP_S = 3 * 3600.0  # climate and telematics may stay up to 3 h (service manual); no sleep in longer is told
# Door, lock or boot opened by a person: amperes for some minutes, now and then. Our choice: published courtesy lamps
# and modules awake are 1–5 A for up to 10 min; a module's wake-ups come again, alike: three times in one
# stand, or more than twice a day all through the log.
VISIT_A, VISIT_S, ALIKE, ALIKE_A_DAY = 0.8, 900.0, 3, 2.0
ALIKE_EVERY_S = 4 * 3600.0  # in a stand longer than twelve hours one more for each of these; our choice
ALIKE_EXCESS, ALIKE_LENGTH = 1.5, 2.0  # factors within which two wake-ups are alike; our choice
# No sleeping module draws as much for so long as a running engine does (9–20 A; lamps 9 A). Our choice: taken as
# somebody using the vehicle, or a drive the log did not show as one.
USE_A, USE_S, USE_PEAK_A = 7.0, 60.0, 15.0
# Where a drive was seen that nothing charged, another may look like a stand, its loads small on a flat battery.
UNCHARGED_V, DRIVE_A, DRIVE_S = 13.0, 1.5, 300.0  # our choice
USED_S = 300.0  # so much of it in one stand, and the stand was no rest
BY_CHARGE_S = 3600.0  # so near to a charge a wake-up is none of a sleeping vehicle's; our choice
# Whoever comes to drive wakes the modules first: what ends within this before the crank is the approach. Our choice.
APPROACH_S = 180.0
NORMAL_LONGEST_S, NORMAL_APART_S = 60.0, 540.0  # published telematics: 45 s every 9–10 min (service manual)
TOLERANCE = 1.2  # on both; our choice: samples and jitter
MET_SHARE = 0.05  # of the wake-ups may be longer, because two met; our choice


@dataclass(frozen=True, slots=True)
class Sleep:
    """One stand, asleep.

    asleep_s    length of the sleep seen
    mean_a      mean drain over it, wake-ups included
    level_a     of that, the sleep level
    wake_ups    counted wake-ups; `normal`: they fit the published telematics pattern, or there are none
    slept       False: it never settled, and mean_a is that of the whole stand
    used        something heavy was in use for minutes: it was no rest, and says nothing of the drain
    """

    start: int
    asleep_s: float
    mean_a: float
    level_a: float
    wake_ups: int
    normal: bool
    slept: bool = True
    used: bool = False


def sleeps_of(result: Result, size: float, nominal_v: float = 12.0) -> list[Sleep]:
    """The stands of which a mean can be told, in time order; `size` scales what people use (battery against 65 Ah)."""
    first, last = result.log.first, result.log.last
    days = 1.0 if first is None or last is None else (last - first) / 86400e6
    everything = [wake for stand in result.stands for wake in stand.wake_ups]
    uncharged = any(_is_uncharged(drive, nominal_v / 12.0) for drive in result.drives)
    often = max(ALIKE, int(ALIKE_A_DAY * days)) + 1
    found = [_sleep(stand, everything, often, last, size, uncharged) for stand in result.stands]
    return [sleep for sleep in found if sleep is not None]


def _sleep(
    stand: Stand, everything: Sequence[WakeUp], often: int, last: int | None, size: float, uncharged: bool
) -> Sleep | None:
    end = stand.end if stand.end is not None else last
    if end is None:
        return None
    used = _in_use_s(stand, size) > USED_S or (uncharged and any(_could_be_drive(w, size) for w in stand.wake_ups))
    if stand.settled_at is None:
        length_s = (end - stand.start) / 1e6 - stand.unobserved_s
        if stand.charge_out_ah is None or length_s < NEVER_ASLEEP_S or stand.charges:
            return None
        mean = stand.charge_out_ah * 3600.0 / length_s
        return Sleep(stand.start, length_s, mean, mean, 0, False, slept=False, used=used or mean > USE_A * size)
    asleep_s = (end - stand.settled_at) / 1e6 - stand.unobserved_s
    if stand.sleep_current_a is None or asleep_s < ASLEEP_LEAST_S:
        return None
    level = _level(stand, stand.sleep_current_a)
    came = end - int(APPROACH_S * 1e6)
    here = max(ALIKE, asleep_s / ALIKE_EVERY_S)
    counted = [
        wake
        for wake in stand.wake_ups
        if (stand.open or wake.end < came)
        and not _is_use(wake, size)
        and not _by_a_charge(wake, stand)
        and not (
            _could_be_visit(wake, size) and _alike(wake, stand.wake_ups) < here and _alike(wake, everything) < often
        )
    ]
    mean = level + sum(wake.charge_ah for wake in counted) * 3600.0 / asleep_s
    return Sleep(stand.start, asleep_s, mean, level, len(counted), _is_normal(counted), used=used)


def _level(stand: Stand, sleep_current_a: float) -> float:
    """Mean drain of the plateaus, each by its length; the sleep current where there are none."""
    lengths = [plateau.end - plateau.start for plateau in stand.plateaus]
    if not sum(lengths):
        return sleep_current_a
    drawn = sum(-plateau.amps * length for plateau, length in zip(stand.plateaus, lengths, strict=True))
    return drawn / sum(lengths)


def _in_use_s(stand: Stand, size: float) -> float:
    """How long something drew as only a running vehicle does, s."""
    plateaus = sum((p.end - p.start) / 1e6 for p in stand.plateaus if -p.amps > USE_A * size)
    return plateaus + sum(_length_s(wake) for wake in stand.wake_ups if _is_use(wake, size))


def _length_s(wake: WakeUp) -> float:
    return (wake.end - wake.start) / 1e6


def _is_uncharged(drive: Drive, scale: float) -> bool:
    """The engine ran and nothing charged."""
    top = drive.charging.volts_p95
    return "no_charge" in drive.charging.faults or (top is not None and top / scale < UNCHARGED_V)


def _could_be_drive(wake: WakeUp, size: float) -> bool:
    return wake.excess_a > DRIVE_A * size and _length_s(wake) > DRIVE_S


def _is_use(wake: WakeUp, size: float) -> bool:
    """Heavy for a minute and more; or, with a shutdown behind it, as much in all as some minutes of that."""
    in_all = wake.peak_a > USE_PEAK_A * size and wake.charge_ah * 3600.0 > USE_A * size * USED_S
    return in_all or (wake.excess_a > USE_A * size and _length_s(wake) > USE_S)


def _by_a_charge(wake: WakeUp, stand: Stand) -> bool:
    """Whether something charged the battery shortly before or after it: a charger's pauses, or a drive not seen."""
    near_us = int(BY_CHARGE_S * 1e6)
    return any(wake.start < span.end + near_us and wake.end > span.start - near_us for span in stand.charges)


def _could_be_visit(wake: WakeUp, size: float) -> bool:
    if wake.peak_a < VISIT_A * size:
        return False
    at_peak_s = wake.charge_ah * 3600.0 / wake.peak_a  # a module's own wake-up may run on behind it, or meet it
    return _length_s(wake) <= VISIT_S or (at_peak_s <= VISIT_S / 2 and _length_s(wake) <= 2 * VISIT_S)


def _alike(wake: WakeUp, others: Sequence[WakeUp]) -> int:
    """How many of the others are like it, itself included."""
    return sum(
        1
        for other in others
        if 1 / ALIKE_EXCESS < other.excess_a / wake.excess_a < ALIKE_EXCESS
        and 1 / ALIKE_LENGTH < _length_s(other) / max(_length_s(wake), 0.1) < ALIKE_LENGTH
    )


def _is_normal(wakes: Sequence[WakeUp]) -> bool:
    long = sum(1 for wake in wakes if _length_s(wake) > NORMAL_LONGEST_S * TOLERANCE)
    if long > MET_SHARE * len(wakes):
        return False
    modules: dict[int | None, list[int]] = {}  # each with a rhythm of its own
    for wake in wakes:
        modules.setdefault(wake.group, []).append(wake.start)
    apart = [[(b - a) / 1e6 for a, b in pairwise(sorted(starts))] for starts in modules.values() if len(starts) > 1]
    return all(median(gaps) >= NORMAL_APART_S / TOLERANCE for gaps in apart)
