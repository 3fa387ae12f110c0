"""Faults of a charging system over a drive, told apart from what engine-managed systems do on purpose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.base.results import ChargingFault, Regulation
from monitor.detect import charging_limits as lim
from monitor.detect.charging_phases import Minutes


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the drive showed.

    minutes         its minutes of running engine, at least one
    start_s         end of the crank, s since 1970
    charged         charging was seen
    delay_s         until then; None where unknown
    start_seen      the log covers the start, so a start-up phase would have been seen
    low_longest_s   longest run of seconds below CHARGING_V
    ripple_mv       median peak-to-peak volts within a second
    volts_before    of the battery before the crank; None where unknown
    """

    minutes: Minutes
    start_s: float
    charged: bool
    delay_s: float | None
    start_seen: bool
    low_longest_s: int
    ripple_mv: float | None
    volts_before: float | None = None


def faults(evidence: Evidence, kind: Regulation, scale: float) -> list[ChargingFault]:
    """The faults of a drive in the order of their weight."""
    found: list[ChargingFault] = []
    if _over(evidence.minutes, scale):
        found.append("overvoltage")
    late = _late(evidence, kind, scale)
    if _no_charge(evidence, scale, from_s=evidence.start_s + (evidence.delay_s or 0.0) if late else 0.0):
        found.append("no_charge")
    elif evidence.low_longest_s > lim.SULFATING_S or _never_lifted(evidence, scale):
        found.append("undervoltage")
    if late:
        found.append("late")
    hunting = int(evidence.minutes.hunting.sum())
    if hunting >= max(lim.HUNTING_BINS, lim.HUNTING_SHARE * len(evidence.minutes)):
        found.append("unstable")
    if evidence.ripple_mv is not None and evidence.ripple_mv / lim.PEAK_TO_PEAK_PER_RMS > lim.RIPPLE_RMS_MV * scale:
        found.append("ripple")
    return found


def _over(minutes: Minutes, scale: float) -> bool:
    """A minute on end above what the cold allows, or seconds above what equipment must bear."""
    frost = np.nan_to_num(np.maximum(-minutes.celsius, 0.0), nan=0.0)
    limit = np.minimum(lim.OVER_V + lim.OVER_COLD_V_PER_K * frost, lim.OVER_AT_ONCE_V) * scale
    return bool(np.any(minutes.over > 0) or np.any(minutes.low > limit))


def _no_charge(evidence: Evidence, scale: float, from_s: float) -> bool:
    """Minutes on end, beginning at `from_s` or later, in which the battery alone carries the vehicle.

    Never charged since a start that was seen: below 13.0 V with net discharge, or below 12.6 V by volts alone. Else an
    engine-managed system may be in its economy mode, so the discharge must be beyond what that allows. By
    volts alone it may be a battery that rests low after the engine's stop, unless it reads less than before the start.
    """
    minutes = evidence.minutes
    by_amps = ~np.isnan(minutes.amps)
    with np.errstate(invalid="ignore"):
        if not evidence.charged and evidence.start_seen:
            flat = (minutes.volts < lim.NO_CHARGE_V * scale) & (minutes.amps < lim.NO_CHARGE_A)
            alone = minutes.volts < lim.NO_CHARGE_ALONE_V * scale
        else:
            flat = (minutes.volts < lim.NO_CHARGE_V * scale) & (minutes.amps < lim.ECONOMY_LOWEST_A)
            alone = minutes.volts < lim.NO_CHARGE_LATER_V * scale
            if evidence.volts_before is not None:
                alone &= minutes.volts < evidence.volts_before
    return _longest(np.where(by_amps, flat, alone) & (minutes.start_s >= from_s), minutes) >= lim.NO_CHARGE_BINS


def _never_lifted(evidence: Evidence, scale: float) -> bool:
    """Since a start that was seen, one low level: engine-managed systems charge after a start, and let go of a level.

    By volts alone it may be one of those, far from the battery.
    """
    minutes = evidence.minutes
    since = (minutes.start_s + minutes.width_s > evidence.start_s) & ~np.isnan(minutes.amps)
    level = minutes.volts[since & (minutes.start_s >= evidence.start_s + lim.START_LEFT_OUT_S)]
    if not evidence.start_seen or len(level) * minutes.width_s < lim.UNLIFTED_S:
        return False
    flat = float(np.ptp(level)) <= lim.UNLIFTED_WIDTH_V * scale
    return flat and bool((minutes.high[since] < lim.CHARGING_V * scale).all())


def _longest(flags: npt.NDArray[np.bool_], minutes: Minutes) -> int:
    """Most minutes on end that are flagged, without a hole."""
    most = length = 0
    last_s = None
    for start_s, flag in zip(minutes.start_s.tolist(), flags.tolist(), strict=True):
        joined = last_s is not None and start_s - last_s <= 2 * minutes.width_s
        length = (length if joined else 0) + minutes.width_s // 60 if flag else 0
        most, last_s = max(most, length), start_s
    return most


def _late(evidence: Evidence, kind: Regulation, scale: float) -> bool:
    """Charging came, but long after the start, and the battery carried the vehicle until then.

    Without current, volts that rise meanwhile are an empty battery being filled, as fast as the alternator can.
    """
    if evidence.delay_s is None or evidence.delay_s <= lim.LATE_S or kind == "managed":
        return False
    minutes = evidence.minutes
    whole = minutes.start_s >= evidence.start_s  # the minute of the crank itself, and glow plugs, tell nothing
    before = whole & (minutes.start_s + minutes.width_s <= evidence.start_s + evidence.delay_s)
    if not before.any():
        return not np.isnan(minutes.amps).all()  # less than a whole minute of it was seen
    amps = minutes.amps[before & ~np.isnan(minutes.amps)]
    if len(amps):
        return bool(np.median(amps) < lim.LATE_A)
    volts = minutes.volts[before]
    if not len(volts) or volts[-1] - volts[0] > lim.FILLING_V * scale:
        return False
    return bool(np.median(volts) < lim.NO_CHARGE_ALONE_V * scale)
