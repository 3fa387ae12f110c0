"""The verdict: observations weighed for and against each cause, ranked, with what is missing and what to do next.

Method: every observation adds log-odds to the causes it bears on (evidence.py, which says how far and why); each cause
has its own probability, so several may hold. A cause is named from NAMED on. A vehicle is sound when no cause is likely
and the log has shown enough to know: a night with current, a judged drive, and the battery under load or holding its
charge. Everything else is undetermined: a short or voltage-only log gets what it can carry and no more.

What moves what (details in the why_ modules):

    mean current of a night over its limit     drain; against usage
    fall of rest volts without current seen    drain and battery, neither alone
    crank resistance over a new battery's      small against both; half as much again battery; from 1.8 times on battery
                                               where the starter turns slowly, connection where it is quick;
                                               against usage
    crank minimum, crank length                battery
    holds no charge, a cell's step, full by
    charge returned and yet low, bench figures battery
    faults of drives                           charging; drives in order against it
    short trips with a low state of charge     usage
"""

from __future__ import annotations

from collections.abc import Mapping
from math import prod
from statistics import median

from monitor.assess.advice import missing, next_steps
from monitor.assess.evidence import FAULTS, Fault, Observation, probability
from monitor.assess.recent import since_repair
from monitor.assess.seen import Seen, look
from monitor.assess.why_battery import battery_evidence
from monitor.assess.why_charging import charging_evidence, judged
from monitor.assess.why_connection import connection_evidence
from monitor.assess.why_drain import drain_evidence
from monitor.assess.why_usage import usage_evidence
from monitor.base.results import OtherCause, Result, Verdict
from monitor.base.vehicle import Vehicle

# Our choice: a cause is named when it is more than twice as likely as not; one is out of the question for "sound" when
# it is less than half as likely; below ALSO nothing is worth a person's time.
NAMED, RULED_OUT, ALSO = 0.70, 0.30, 0.30
OUT = 0.05  # less likely than this: "ruled out"; our choice
MENTIONED = 0.1  # log-odds: an observation that moves a cause by less is not told for or against it
SLEEP_SEEN_S = 2 * 3600.0  # asleep with current, so that a drain is known to be in limits
WORN_TIMES = 1.45  # of a new battery's resistance; where why_battery begins to doubt it
SHORT_TRIP_S = 600.0  # common practice: ten minutes return little more than the start took
LOW_CHARGE = 0.55  # a battery this low has a reason, found or not


def judge(result: Result, vehicle: Vehicle) -> Verdict:
    """The verdict on a result document; pure. Reads whatever of it has been assessed, and does without the rest."""
    judged_part, left_out = since_repair(result)
    seen = look(judged_part, vehicle)
    open_points = [*([left_out] if left_out else []), *missing(seen)]
    replaced = any(mark.kind == "battery replaced" for mark in result.marks)
    evidence = [
        *drain_evidence(seen),
        *charging_evidence(seen),
        *battery_evidence(seen),
        *connection_evidence(seen),
        *usage_evidence(seen),
    ]
    sure = {fault: probability(fault, evidence) for fault in FAULTS}
    ranked = sorted(FAULTS, key=lambda fault: -sure[fault])
    first = ranked[0]
    likely = [fault for fault in ranked if sure[fault] >= ALSO]
    if sure[first] >= NAMED:
        others = [fault for fault in likely if fault != first]
        because, against = _sides(evidence, first, others, sure)
        return Verdict(
            cause=first,
            confidence=sure[first],
            also=[OtherCause(cause=fault, confidence=sure[fault]) for fault in others],
            because=because,
            against=against,
            missing=open_points,
            next=next_steps(first, others, replaced),
        )
    nothing = prod(1.0 - sure[fault] for fault in FAULTS)
    speaks_for = [o.text for o in evidence if any(weight > MENTIONED for weight in o.moves.values())]
    speaks_against = [o.text for o in evidence if o.text not in speaks_for]
    also = [OtherCause(cause=fault, confidence=sure[fault]) for fault in likely]
    gaps = _not_shown(seen, evidence)
    if sure[first] < RULED_OUT and not gaps:
        return Verdict(
            cause="sound",
            confidence=nothing,
            because=speaks_against,
            against=speaks_for,
            missing=open_points,
            next=next_steps("sound", [], replaced),
        )
    return Verdict(
        cause="undetermined",
        confidence=1.0 - max(sure[first], nothing if not gaps else 0.0),
        also=also,
        because=[*speaks_for, *gaps],
        against=speaks_against,
        missing=open_points,
        next=next_steps("undetermined", likely, replaced),
    )


def _sides(
    evidence: list[Observation], cause: Fault, others: list[Fault], sure: Mapping[Fault, float]
) -> tuple[list[str], list[str]]:
    """What speaks for the cause and what against it, the weightiest first.

    For it also speaks, each under its name, what rules out another cause or makes it less likely; what makes another
    likely besides is told.
    """
    for_it = _ranked(evidence, cause, 1.0)
    against = _ranked(evidence, cause, -1.0)
    told = {o.text for o in (*for_it, *against)}
    besides = []
    for other in others:
        besides += [f"Besides, {other}: {o.text}" for o in _ranked(evidence, other, 1.0) if o.text not in told]
    for other in FAULTS:
        if other != cause and other not in others:
            ruled_out = _ranked(evidence, other, -1.0)[:1]
            how = "ruled out" if sure[other] < OUT else "less likely"
            besides += [
                f"{other.capitalize()} is {how}: {o.text[:1].lower()}{o.text[1:]}"
                for o in ruled_out
                if o.text not in told
            ]
    return [*(o.text for o in for_it), *besides], [o.text for o in against]


def _ranked(evidence: list[Observation], cause: Fault, sign: float) -> list[Observation]:
    """Observations that move the cause that way, the weightiest first."""
    moving = [o for o in evidence if sign * o.moves.get(cause, 0.0) > MENTIONED]
    return sorted(moving, key=lambda o: -sign * o.moves.get(cause, 0.0))


def _not_shown(seen: Seen, evidence: list[Observation]) -> list[str]:
    """Why a vehicle without a likely cause cannot be called sound."""
    gaps = []
    if not any(sleep.asleep_s >= SLEEP_SEEN_S for sleep in seen.sleeps):
        gaps.append("A drain cannot be ruled out: no rest of two hours asleep with current was seen.")
    if not judged(seen):
        gaps.append("Charging cannot be ruled out: no drive of five minutes was seen.")
    if not any(o.moves.get("battery", 0.0) < -MENTIONED for o in evidence):
        gaps.append("The battery cannot be ruled out: it was not seen under load, nor holding its charge.")
    if not any(o.moves.get("connection", 0.0) < -MENTIONED for o in evidence):
        gaps.append("A connection cannot be ruled out: no crank shows how far the volts fall with the current.")
    if not seen.settled and seen.drive_s and median(seen.drive_s) < SHORT_TRIP_S:
        gaps.append("Too many short trips cannot be ruled out: the drives are short and no settled rest was seen.")
    if seen.times_new is not None and seen.times_new >= WORN_TIMES:
        gaps.append(f"Cranking shows {seen.times_new:.1f} times a new battery's resistance: too much to call it sound.")
    if seen.settled and seen.settled[-1].charge < LOW_CHARGE:
        gaps.append(f"It ends at {seen.settled[-1].charge * 100:.0f} % charge, and nothing seen explains that.")
    return gaps
