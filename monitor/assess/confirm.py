"""Was the repair one? Nights before against nights after: proven, not yet, or failed, with the numbers.

A night is a piece of a stand of at least 4 h that overlaps the local night (monitor/assess/nights.py). Samples of one
night are alike, so a night counts once. What was wrong before the repair decides, in this order:

1. the sleep current was above the limit on most nights: the level, by Mann-Whitney;
2. it was above on some nights: nights above the limit, by the conditional test;
3. it was within the limit, but something woke it: wake-ups, by the conditional test (groups that fit a published normal
   pattern are left out);
4. the log has no current: the decay of the rest voltage.

The rest is told beside it. The answer:

- failed: on most nights after the sleep current is above the limit; or the events come at more than half of their rate;
- proven: p below 0.05, no night after above the limit, and for a level five nights after;
- not yet: anything else, with how many more quiet nights it takes.
"""

from __future__ import annotations

from datetime import tzinfo
from typing import Literal

from pydantic import Field

from monitor.assess.compare import ALPHA, CLUMP_NIGHTS, QUIET_NIGHTS, Comparison, comparisons
from monitor.assess.nights import nights_of
from monitor.assess.statistics import quiet_nights, rate_test, rate_upper
from monitor.base.fields import Moment, Number, Part
from monitor.base.results import Mark, Result

LIMIT_A = 0.050  # sleep current that is a fault when the owner gives no limit: common practice
STILL = 0.5  # our choice: a repair that leaves more than half of the rate has not mended it

Answer = Literal["proven", "not_yet", "failed"]


class Confirmation(Part):
    """The answer, what it rests on, and what it takes to be sure. Currents of comparisons are drains, in mA."""

    vehicle: str
    repair_at: Moment
    zone: str
    answer: Answer = "not_yet"
    nights_before: int
    nights_after: int
    further_nights: int | None = None
    limit_ma: Number
    comparisons: list[Comparison] = Field(default_factory=list)
    because: list[str] = Field(default_factory=list)
    missing: list[str] = Field(default_factory=list)
    marks: list[Mark] = Field(default_factory=list)


def confirm(result: Result, repair_at: int, zone: tzinfo, limit_a: float = LIMIT_A) -> Confirmation:
    """Compare the nights of `result` before and after `repair_at` (microseconds UTC); `zone` says when it is night."""
    nights = nights_of(result, repair_at, zone)
    before, after = [n for n in nights if n.end <= repair_at], [n for n in nights if n.start >= repair_at]
    found = Confirmation(
        vehicle=result.vehicle,
        repair_at=repair_at,
        zone=str(zone),
        nights_before=len(before),
        nights_after=len(after),
        limit_ma=limit_a * 1000,
    )
    if before and after:
        found.comparisons = comparisons(result, before, after, repair_at, zone, found.limit_ma)
        _judge(found)
        awake = sum(n.sleep_ma is None and n.level_ma is not None for n in nights)
        if awake:
            found.because.append(f"{awake} nights without sleep; the charge taken an hour stands for the sleep current")
        if found.answer == "not_yet" and len(before) < CLUMP_NIGHTS:
            found.missing.append(f"nights before the repair: {len(before)} say little of what was usual")
    else:
        side = "before" if not before else "after"
        found.missing.append(f"a night {side} the repair: a stand of 4 h and more that overlaps 22:00 to 06:00")
    return found


def _judge(found: Confirmation) -> None:
    by_name = {one.name: one for one in found.comparisons}
    level, above, decay = by_name.get("sleep_current"), by_name.get("nights_above_limit"), by_name.get("decay")
    wakes = by_name.get("wake_ups") or by_name.get("nights_with_wake_ups")
    if level is not None and level.middle_before > found.limit_ma:
        _judge_level(found, level)
    elif above is not None and above.events is not None and above.events.before:
        _judge_events(found, above, "it drew more than the limit")
    elif wakes is not None and wakes.events is not None and wakes.events.before:
        _judge_events(found, wakes, "something woke it")
    elif level is None and decay is not None:
        _judge_decay(found, decay)
    else:
        found.missing.append("a fault in the nights before: the sleep current kept the limit and nothing woke it")


def _judge_level(found: Confirmation, one: Comparison) -> None:
    one.decides = True
    nights = len(one.after)
    over = sum(value > found.limit_ma for value in one.after)
    found.because.append(f"{nights - over} of {nights} nights after the repair keep the limit of {found.limit_ma:g} mA")
    if one.middle_after > found.limit_ma:
        found.answer = "failed"
        return
    if one.p < ALPHA and nights >= QUIET_NIGHTS and not over:
        found.answer = "proven"
        return
    found.further_nights = one.further_nights
    if nights < QUIET_NIGHTS:
        found.missing.append(
            f"{QUIET_NIGHTS} nights after the repair, {nights} so far: a fault that shows on every other night hides"
            f" for {nights} in one case of {2**nights}"
        )
    if over:
        found.missing.append(f"the reason why {over} of the nights after are above the limit")
    if one.p >= ALPHA:
        found.missing.append(f"more quiet nights: chance alone would give this with p = {one.p:.3f}")


def _judge_events(found: Confirmation, one: Comparison, what: str) -> None:
    one.decides = True
    events = one.events
    assert events is not None
    still = rate_test(events.before, events.before_time, events.after, events.after_time, STILL).p_higher
    showed, later = sum(map(bool, one.before)), sum(map(bool, one.after))
    found.because.append(
        f"{what} on {showed} of {len(one.before)} nights before and on {later} of {len(one.after)} after"
    )
    if still < ALPHA:
        found.answer = "failed"
        found.because.append(f"that is more than half of the earlier rate (p = {still:.2g} for half and less)")
        return
    if not later:
        share, upper = showed / len(one.before), rate_upper(0, len(one.after))
        found.because.append(
            f"a fault that shows on so many nights stays hidden for {quiet_nights(share)} in at most one case of 20;"
            f" {len(one.after)} quiet nights leave room for {upper:.2f} a night (95 %)"
        )
    if one.p < ALPHA:
        found.answer = "proven"
        return
    found.further_nights = one.further_nights
    found.missing.append(f"more quiet nights: chance alone would give this with p = {one.p:.3f}")


def _judge_decay(found: Confirmation, one: Comparison) -> None:
    """Volts alone: a slower decay shows that less is drawn, never that nothing is."""
    one.decides = True
    if one.p < ALPHA and len(one.after) >= QUIET_NIGHTS:
        found.answer = "proven"
        found.because.append("the rest voltage falls more slowly; a log of volts alone cannot say what is still drawn")
        return
    found.further_nights = one.further_nights
    found.missing.append("current in the log, or more nights: volts alone say little of a drain")
