"""One stand in sentences: sleep, level steps, wake-ups, rest voltage, charge. What is unknown is said to be."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from statistics import median

from monitor.base.fields import Span
from monitor.base.results import Crank, LevelStep, Log, Rest, Stand, WakeUp
from monitor.views.shared import crank_figures, unobserved
from monitor.views.words import NB, LocalTime, amps, amps_between, between, charge, count, joined, length, volts

BASIS = "Basis: "  # begins the sentence that says what the figures of rest stand on
LISTED = 3  # wake-ups or level steps told one by one; more are told as a group with the largest. Our choice


def stand_sentences(stand: Stand, log: Log, time: LocalTime) -> list[str]:
    """Sentences in the order a person asks: did it sleep, what woke it, what is left in the battery."""
    sentences = [_sleep(stand, log, time), *_level_steps(stand, time), *_wake_ups(stand, time)]
    sentences += _charges(stand, time)
    sentences += [_rest(stand.rest), _basis(stand.rest), _charge(stand, log), *unobserved(stand.unobserved_s)]
    sentences += [_failed_start(crank, time, stand.start) for crank in stand.failed_starts]
    return [sentence for sentence in sentences if sentence]


def _sleep(stand: Stand, log: Log, time: LocalTime) -> str:
    if stand.settled_at is None:
        if "amps" not in log.channels:
            return "Sleep current unknown: the log has no current."
        return "No sleep seen: the current did not settle in what was logged; sleep current unknown."
    when = time.beside(stand.settled_at, stand.start)
    since = f"after {length(stand.time_to_sleep_s)} ({when})" if stand.time_to_sleep_s is not None else f"at {when}"
    if stand.sleep_current_a is None:
        return f"Asleep {since}; sleep current unknown."
    low, high = stand.sleep_current_low_a, stand.sleep_current_high_a
    width = f" (95{NB}% interval {amps_between(low, high)})" if low is not None and high is not None else ""
    if stand.sleep_current_a < 0:
        width = f" (95{NB}% interval {amps_between(-high, -low)})" if low is not None and high is not None else ""
        return f"Asleep {since}, {amps(-stand.sleep_current_a)} flowing into the battery{width}."
    return f"Asleep {since}, drawing {amps(stand.sleep_current_a)}{width}."


def _level_steps(stand: Stand, time: LocalTime) -> list[str]:
    def told(step: LevelStep) -> str:
        return f"from {amps(step.from_a)} to {amps(step.to_a)} at {time.beside(step.at, stand.start)}"

    steps = stand.level_steps
    if not steps:
        return []
    if len(steps) <= LISTED:
        return [f"The level changed and stayed: {joined([told(step) for step in steps])}."]
    largest = max(steps, key=lambda step: abs(step.to_a - step.from_a))
    return [f"The level changed and stayed {len(steps)} times; the largest, {told(largest)}."]


def _wake_ups(stand: Stand, time: LocalTime) -> list[str]:
    groups: dict[int | None, list[WakeUp]] = defaultdict(list)
    for wake_up in stand.wake_ups:
        groups[wake_up.group].append(wake_up)
    told = [_wake_up_group(wakes, stand, time) for wakes in groups.values()]
    if stand.wake_ups_uncounted:
        more = "further wake-up" if told else "wake-up"
        told.append(f"{count(stand.wake_ups_uncounted, more)} not kept one by one.")
    if not told and stand.settled_at is not None and stand.sleep_current_a is not None:
        told.append("Nothing woke it.")
    return told


def _wake_up_group(wakes: list[WakeUp], stand: Stand, time: LocalTime) -> str:
    if len(wakes) <= LISTED:
        return " ".join(
            f"Woke at {time.beside(wake.start, stand.start)} for {length((wake.end - wake.start) / 1e6)},"
            f" drawing {amps(wake.excess_a)} more (peak {amps(wake.peak_a)}, {charge(wake.charge_ah)})."
            for wake in wakes
        )
    lengths = [(wake.end - wake.start) / 1e6 for wake in wakes]
    apart = [(after.start - before.start) / 1e6 for before, after in pairwise(wakes)]
    largest = max(wakes, key=lambda wake: wake.charge_ah)
    return (
        f"Woke {len(wakes)} times, typically every {length(median(apart))} for {length(median(lengths))},"
        f" drawing {amps(median(wake.excess_a for wake in wakes))} more;"
        f" {charge(sum(wake.charge_ah for wake in wakes))} in all."
        f" The largest, at {time.beside(largest.start, stand.start)}: {length((largest.end - largest.start) / 1e6)},"
        f" peak {amps(largest.peak_a)}, {charge(largest.charge_ah)}."
    )


def _charges(stand: Stand, time: LocalTime) -> list[str]:
    def told(span: Span) -> str:
        return (
            f"from {time.beside(span.start, stand.start)} to {time.beside(span.end, stand.start)}"
            f" ({length((span.end - span.start) / 1e6)})"
        )

    spans = stand.charges
    if not spans:
        return []
    if len(spans) <= LISTED:
        return [f"On a charger or jump pack {joined([told(span) for span in spans])}."]
    together = sum(span.end - span.start for span in spans) / 1e6
    longest = max(spans, key=lambda span: span.end - span.start)
    return [f"On a charger or jump pack {len(spans)} times, {length(together)} in all; the longest, {told(longest)}."]


def _rest(rest: Rest) -> str:
    if rest.volts is None:
        return f"Rest voltage unknown{': ' + rest.basis.rstrip('.') if rest.basis else ''}."
    settled = {True: "settled", False: "not settled yet", None: "unknown whether settled"}[rest.settled]
    text = f"Rest voltage {volts(rest.volts)}, {settled}"
    if rest.ocv_volts is not None and not rest.settled:
        text += f", heading for {volts(rest.ocv_volts)}"
    if rest.ocv_low is not None and rest.ocv_high is not None:
        text += f" (open-circuit {between(rest.ocv_low, rest.ocv_high, 2)}{NB}V)"
    text += f"; {_state_of_charge(rest)}."
    if rest.decay_mv_per_h is not None:
        way = "falls" if rest.decay_mv_per_h >= 0 else "rises"
        text += f" Apart from settling, it {way} {abs(rest.decay_mv_per_h):.1f}{NB}mV an hour."
    return text


def _basis(rest: Rest) -> str:
    return f"{BASIS}{rest.basis.rstrip('.')}." if rest.basis and rest.volts is not None else ""


def _state_of_charge(rest: Rest) -> str:
    if rest.state_of_charge is None:
        return "state of charge unknown"
    text = f"about {rest.state_of_charge * 100:.0f}{NB}% charged"
    if rest.state_of_charge_low is not None and rest.state_of_charge_high is not None:
        text += f" ({rest.state_of_charge_low * 100:.0f} to {rest.state_of_charge_high * 100:.0f}{NB}%)"
    return text


def _charge(stand: Stand, log: Log) -> str:
    if stand.charge_out_ah is None:
        return "" if "amps" not in log.channels else "Charge taken out unknown."
    into = f", {charge(stand.charge_in_ah)} in" if stand.charge_in_ah else ""
    return f"{charge(stand.charge_out_ah)} went out of the battery{into}."


def _failed_start(crank: Crank, time: LocalTime, near_us: int) -> str:
    return f"Failed start at {time.beside(crank.start, near_us)}: {crank_figures(crank)}."
