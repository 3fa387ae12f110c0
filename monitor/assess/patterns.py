"""Published wake-ups that are normal, recognised by their figures and named with their source.

A pattern is a remark, never an excuse: whether the group grows, and what it costs, is judged apart from it.
"""

from __future__ import annotations

MODULE_A = (0.04, 0.30)  # telematics 80–240 mA; half and a quarter more for the size of the vehicle, our choice
MODULE_S, MODULE_EVERY_S = (25.0, 60.0), (480.0, 720.0)  # about 45 s every 9–10 min
AFTER_MIN = (16.0, 30.0, 60.0, 70.0)  # after key-off, once each
AFTER_DOUBT = 0.10  # our choice
AFTER_LONGEST_S = 300.0  # our choice: a stage of the shutdown, not a module that stays awake
SEEN_LEAST = 2  # once may be anybody at the door; our choice
LEAK_A, LEAK_LONGEST_S, LEAK_WITHIN_S = (0.5, 1.6), 2700.0, 6 * 3600.0  # about 1 A, at most 45 min, once
RECEIVER_A, RECEIVER_S = (0.05, 0.15), 3.0  # about 100 mA, very short


def pattern_of(
    excess_a: float, duration_s: float, period_s: float | None, after_s: list[float], most_a_stand: int
) -> str | None:
    """The published normal pattern a group fits, with its source; None: none.

    after_s        seconds from key-off to each wake-up
    most_a_stand   wake-ups in the stand that has most

    >>> pattern_of(0.17, 45.0, 590.0, [600.0, 1190.0], 60)
    'a normal telematics pattern, 80–240 mA for about 45 s every 9–10 min (service manual, 2001)'
    """
    if period_s is not None and _in(period_s, MODULE_EVERY_S) and _in(duration_s, MODULE_S) and _in(excess_a, MODULE_A):
        return "a normal telematics pattern, 80–240 mA for about 45 s every 9–10 min (service manual, 2001)"
    if len(after_s) < SEEN_LEAST:
        return None
    if _in(excess_a, LEAK_A) and duration_s <= LEAK_LONGEST_S and duration_s >= 300.0 and most_a_stand == 1:
        if all(after <= LEAK_WITHIN_S for after in after_s):
            return (
                "an engine-off evaporative leak test, about 1 A for up to 45 min after a drive (service manual, 2010)"
            )
        return None
    minutes = [_nearest(after / 60.0) for after in after_s]
    if None not in minutes and duration_s <= AFTER_LONGEST_S and most_a_stand <= len(AFTER_MIN):
        named = ", ".join(f"{m:.0f}" for m in sorted({m for m in minutes if m is not None}))
        return f"a stage of a normal shutdown, {named} min after key-off (closed-circuit monitoring, 2004–06)"
    if duration_s <= RECEIVER_S and _in(excess_a, RECEIVER_A):
        return "a remote-entry receiver, about 100 mA in very short spikes (service manual, 2010)"
    return None


def _in(value: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] <= value <= bounds[1]


def _nearest(minutes: float) -> float | None:
    near = min(AFTER_MIN, key=lambda m: abs(m - minutes))
    return near if abs(near - minutes) <= AFTER_DOUBT * near else None
