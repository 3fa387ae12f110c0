"""What speaks for and against a drain: the mean current of the nights against its limit.

Limits: the service manual's, which the program does not know; RC/4 mA, RC the reserve capacity in minutes (service
manual, 2001); 50 mA for what is built since 2000, 80 mA with telematics (common practice, from makers' limits of
30–80 mA). A night's mean with its wake-ups counts, because that is what empties the battery.
"""

from __future__ import annotations

from monitor.assess.evidence import DECISIVE, SOME, STRONG, VERY_STRONG, Observation, graded
from monitor.assess.seen import Seen
from monitor.assess.sleeps import Sleep
from monitor.base.vehicle import Vehicle

LIMIT_A = 0.050
TELEMATICS_LIMIT_A = 0.080
RESERVE_SHARE = 4.0  # mA per minute of reserve capacity: RC/4
PUBLISHED_FOR_AH = 60.0  # 50 mA empties such a battery to no-start in 20 days (maker's bulletin)
# Log-odds by mean over limit. Our choice: nothing at the limit itself, sure at twice the limit, where the trade's amber
# turns red; below it the evidence against grows as fast, for a current that is measured is no matter of opinion.
BY_RATIO = ((0.4, -DECISIVE), (0.7, -VERY_STRONG), (0.9, -SOME), (1.0, SOME), (1.2, VERY_STRONG), (2.0, 1.5 * DECISIVE))
LONG_ENOUGH_S = 3 * 3600.0  # asleep: a shorter night counts half, modules may still be timing out. Our choice
AGREE = 3  # rests over the limit, and half of all, are no accident of a short one; our choice
CERTAIN_S = 7200.0
MANY, NIGHT_S = 4, 6 * 3600.0  # rests, and the length of one that is no pause in the day; our choice


def limit_a(vehicle: Vehicle, sleep: Sleep) -> tuple[float, str]:
    """Limit of the mean drain, A, and its source in words.

    24 V vehicles have batteries the published limits were not made for: the same days to no-start are allowed.
    """
    battery = vehicle.battery
    limit, why = LIMIT_A, "50 mA, common practice"
    if sleep.wake_ups and sleep.normal and sleep.level_a <= LIMIT_A * _size(vehicle):
        limit, why = TELEMATICS_LIMIT_A, "80 mA with telematics, common practice"
    if battery.nominal_v > 12 and _size(vehicle) > 1:
        limit, why = limit * _size(vehicle), f"{why}, in proportion to {battery.capacity_ah:g} Ah"
    if battery.reserve_s is not None and battery.reserve_s / 60 / RESERVE_SHARE / 1e3 < limit:
        limit = battery.reserve_s / 60 / RESERVE_SHARE / 1e3
        why = f"a quarter of the reserve capacity of {battery.reserve_s / 60:.0f} min in mA"
    return limit, why


def _size(vehicle: Vehicle) -> float:
    battery = vehicle.battery
    return max(1.0, (battery.capacity_ah or 0.0) / PUBLISHED_FOR_AH) if battery.nominal_v > 12 else 1.0


def _telling(seen: Seen) -> list[Sleep]:
    """The nights long enough to judge by; the others only where there is none."""
    quiet = [sleep for sleep in seen.sleeps if not sleep.used]
    return [sleep for sleep in quiet if sleep.asleep_s >= CERTAIN_S] or quiet


def drain_evidence(seen: Seen) -> list[Observation]:
    """Observations that bear on a drain."""
    if not seen.has_amps:
        return _by_volts(seen)
    sleeps = _telling(seen)
    if not sleeps:
        return _in_use(seen)
    worst = max(sleeps, key=lambda sleep: sleep.mean_a / limit_a(seen.vehicle, sleep)[0])
    limit, why = limit_a(seen.vehicle, worst)
    weight = graded(worst.mean_a / limit, BY_RATIO)
    over = sum(1 for sleep in sleeps if sleep.mean_a > limit_a(seen.vehicle, sleep)[0])
    if worst.asleep_s < LONG_ENOUGH_S and (over < AGREE or over < len(sleeps) / 2):
        weight /= 2
    if over == 1 and len(sleeps) >= MANY and worst.level_a <= limit and worst.asleep_s < NIGHT_S:
        weight = min(weight, SOME)  # by wake-ups alone, in one short rest of many: a visit
    share = f"{over} of {len(sleeps)} rests are over it" if len(sleeps) > 1 else "one rest seen"
    hours = worst.asleep_s / 3600
    if worst.slept:
        wakes = f"{worst.wake_ups} wake-up{'s' if worst.wake_ups > 1 else ''}"
        parts = f" ({_ma(worst.level_a)} level, the rest in {wakes})" if worst.wake_ups else ""
        text = f"Asleep, the worst rest drew {_ma(worst.mean_a)} on average over {hours:.0f} h{parts}"
    else:
        text = f"The vehicle never fell asleep in {hours:.0f} h and drew {_ma(worst.mean_a)} on average"
    text += f"; the limit is {_ma(limit)} ({why}); {share}."
    found = [Observation(text, {"drain": weight, "usage": -max(weight, 0.0)})]
    steps = [
        s for stand in seen.result.stands for s in stand.level_steps if s.to_a > limit and s.to_a > 1.5 * s.from_a > 0
    ]
    if steps and weight > 0:
        step = max(steps, key=lambda s: s.to_a - s.from_a)
        found.append(
            Observation(f"The level rose from {_ma(step.from_a)} to {_ma(step.to_a)} and stayed.", {"drain": SOME})
        )
    return found + _patterns(seen, weight) + _in_use(seen)


def _in_use(seen: Seen) -> list[Observation]:
    """Heavy loads in what looks like a stand: lamps left on, or drives on a battery that nothing charges."""
    used = sum(1 for sleep in seen.sleeps if sleep.used)
    if not used:
        return []
    text = (
        f"In {used} stand{'s' if used > 1 else ''} something drew as much as a running vehicle for minutes: lamps left"
        " on, or an engine running without charge; such stands say nothing of the drain."
    )
    return [Observation(text, {"drain": SOME / 2, "charging": SOME, "usage": -STRONG})]


def _patterns(seen: Seen, weight: float) -> list[Observation]:
    """Wake-ups told as what they are; they weigh nothing of their own, their charge is in the mean."""
    said = []
    for group in seen.result.wake_up_groups:
        if group.pattern is not None and weight < 0:
            text = (
                f"Wake-ups of group {group.group} ({group.count}, {_ma(group.excess_a)}) are normal: {group.pattern}."
            )
            said.append(Observation(text, {"drain": -0.01}))
        elif group.growing:
            said.append(
                Observation(f"Wake-ups of group {group.group} take more from night to sleep.", {"drain": SOME / 2})
            )
    return said


def _by_volts(seen: Seen) -> list[Observation]:
    """A rest voltage that keeps falling: a drain, or a battery that loses charge by itself; volts cannot say which."""
    fall = seen.fall
    if fall is None:
        return []
    text = (
        f"The rest voltage falls by {fall.mv_per_h:.1f} mV/h, as with {_ma(fall.amps)} drawn from"
        f" {seen.capacity_ah:.0f} Ah;"
        " volts alone cannot tell a drain from a battery that loses charge by itself."
    )
    return [Observation(text, {"drain": STRONG, "battery": SOME, "usage": -SOME})]


def _ma(amps: float) -> str:
    return f"{amps:.2f} A" if amps >= 0.9995 else f"{amps * 1e3:.0f} mA"
