"""Scoring one replayed log against its truth: a score for each figure."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from monitor.base.results import Crank, Drive, LevelStep, Result, Stand, WakeUp
from monitor.base.samples import SECOND_US, Block
from monitor.simulate import Simulation
from tests.scoreboard.matching import match
from tests.scoreboard.score import Score, of_errors
from tests.scoreboard.sight import Sight

WINDOW_S = 5.0  # borders, cranks, wake-ups: from the requirements
FAR_S = 300.0  # our choice: a stand or drive found so far off is still the same one, for its other figures
STEP_WINDOW_S = 10.0  # level steps: as for settling
SETTLED_S, SETTLED_SHARE = 10.0, 0.02  # from the requirements
SLEEP_A, SLEEP_SHARE = 0.0005, 0.01  # from the requirements
WAKE_CHARGE = 0.03  # from the requirements
CHARGE_SHARE = 0.02  # of all charge that flowed in a stand or drive; our choice
LENGTH_INTERVALS = 2.0  # crank length: one sampling interval at each edge
LENGTH_S = 0.1  # …and the moment in which the firing engine takes over from the starter; our choice
VOLTS_EXACT = 1e-6  # the lowest reading is a reading

Scores = dict[str, Score]


def score(simulation: Simulation, found: Result, blocks: Sequence[Block]) -> Scores:
    """All figures of one log; `blocks` are its samples, for the lowest reading of a crank."""
    sight, truth = Sight.of(simulation), simulation.truth
    stands = match(truth.stands, found.stands, sight.window_us(FAR_S), _start, _start)
    drives = match(truth.drives, found.drives, sight.window_us(FAR_S), _start, _start)
    return {
        **_borders(sight, truth, found),
        **_sleep(sight, stands.pairs, stands.missed),
        **_wake_ups(sight, truth, found),
        "level_steps": _level_steps(sight, truth, found),
        **_cranks(sight, truth, found, blocks),
        "stops": _stops(sight, truth, found),
        **_charge(sight, stands.pairs, drives.pairs),
        **_charging(sight, drives.pairs),
    }


def _start(part: Stand | Drive | WakeUp | Crank) -> int:
    return part.start


def _borders(sight: Sight, truth: Result, found: Result) -> Scores:
    """Starts of stands and drives, each kind for itself; the log's own beginning is no border."""
    near, far = Score(), Score()
    kinds: list[tuple[Sequence[Stand | Drive], Sequence[Stand | Drive]]] = [
        (truth.stands, found.stands),
        (truth.drives, found.drives),
    ]
    for true_parts, found_parts in kinds:
        true_at = [p.start for p in true_parts if p.start != truth.log.first]
        found_at = [p.start for p in found_parts if p.start != found.log.first]
        close = match(true_at, found_at, sight.window_us(WINDOW_S), int, int)
        wide = match(true_at, found_at, sight.window_us(FAR_S), int, int)
        near += Score(len(close.pairs), len(close.missed), len(close.invented))
        delays = tuple((b - a) / SECOND_US for a, b in wide.pairs)
        far += Score(len(wide.pairs), len(wide.missed), len(wide.invented), delays)
    return {
        "borders": near,
        "borders_found": Score(far.hits, far.missed, far.invented),
        "border_delay": of_errors((delay, float("inf")) for delay in far.errors),
    }


def _sleep(sight: Sight, pairs: list[tuple[Stand, Stand]], missed: list[Stand]) -> Scores:
    settled: list[tuple[float, float]] = []
    times: list[tuple[float, float]] = []
    levels: list[tuple[float, float]] = []
    no_settled = no_level = no_time = 0
    for true, found in [*pairs, *((stand, None) for stand in missed)]:
        if not true.plateaus:
            continue
        if true.time_to_sleep_s is not None and sight.slept_enough(true, true.plateaus[0]):
            assert true.settled_at is not None  # it has a time to sleep
            allowed = max(SETTLED_S, SETTLED_SHARE * true.time_to_sleep_s) + sight.interval_s
            if found is None or found.settled_at is None:
                no_settled += 1
            else:
                settled.append(((found.settled_at - true.settled_at) / SECOND_US, allowed))
            if found is None or found.time_to_sleep_s is None:
                no_time += 1
            else:
                times.append((found.time_to_sleep_s - true.time_to_sleep_s, allowed))
        longest = max(true.plateaus, key=lambda plateau: plateau.end - plateau.start)
        if true.sleep_current_a is not None and sight.slept_enough(true, longest):
            if found is None or found.sleep_current_a is None:
                no_level += 1
            else:
                error_a = found.sleep_current_a + sight.scenario.logger.zero_offset - true.sleep_current_a
                levels.append((1e3 * error_a, 1e3 * max(SLEEP_A, SLEEP_SHARE * true.sleep_current_a)))
    return {
        "settled_at": of_errors(settled, no_settled),
        "time_to_sleep": of_errors(times, no_time),
        "sleep_current": of_errors(levels, no_level),
    }


def _wake_ups(sight: Sight, truth: Result, found: Result) -> Scores:
    true = [wake for stand in truth.stands for wake in stand.wake_ups]
    told = [wake for stand in found.stands for wake in stand.wake_ups if not sight.in_approach(wake.start)]
    done = match(true, told, sight.window_us(WINDOW_S), _start, _start)
    owed = [(a, b) for a, b in done.pairs if sight.owes_wake_up(a)]
    missed = sum(sight.owes_wake_up(wake) for wake in done.missed)
    charges = [(b.charge_ah / a.charge_ah - 1, sight.charge_allowed(a, WAKE_CHARGE)) for a, b in owed]
    plain = [(error, WAKE_CHARGE) for error, _ in charges]
    return {
        "wake_ups": Score(len(owed), missed, len(done.invented)),
        "wake_charge": of_errors(charges),
        "wake_charge_plain": of_errors(plain),
    }


def _level_steps(sight: Sight, truth: Result, found: Result) -> Score:
    true = [(stand, step) for stand in truth.stands for step in stand.level_steps]
    told = [step for stand in found.stands for step in stand.level_steps if not sight.in_approach(step.at)]

    def at(event: tuple[Stand, LevelStep]) -> int:
        return event[1].at

    done = match(true, told, sight.window_us(STEP_WINDOW_S), at, lambda step: step.at)
    hits = sum(sight.owes_step(*event) for event, _ in done.pairs)
    return Score(hits, sum(sight.owes_step(*event) for event in done.missed), len(done.invented))


def _cranks(sight: Sight, truth: Result, found: Result, blocks: Sequence[Block]) -> Scores:
    starts = match(_started(truth), _started(found), sight.window_us(WINDOW_S), _start, _start)
    failed = match(_failed(truth), _failed(found), sight.window_us(WINDOW_S), _start, _start)
    lowest: list[tuple[float, float]] = []
    depths: list[tuple[float, float]] = []
    lengths: list[tuple[float, float]] = []
    no_length = 0
    scale = sight.scenario.battery.nominal / 12.0
    for true, told in [*starts.pairs, *failed.pairs]:
        if told.volts_min is not None and true.volts_min is not None and sight.owes_crank(true):
            lowest.append((1e3 * (told.volts_min - _lowest_reading(sight, true, blocks)), 1e3 * VOLTS_EXACT))
            depths.append((1e3 * (told.volts_min - true.volts_min) / scale, float("inf")))
        if sight.carries_length(true):
            if told.duration_s is None or true.duration_s is None:
                no_length += 1
            else:
                error_s = told.duration_s - true.duration_s
                lengths.append((error_s, LENGTH_INTERVALS * sight.interval_s + LENGTH_S))
    return {
        "cranks": _events(sight, starts.pairs, starts.missed, starts.invented),
        "failed_starts": _events(sight, failed.pairs, failed.missed, failed.invented),
        "crank_volts_min": of_errors(lowest),
        "crank_depth": of_errors(depths),
        "crank_length": of_errors(lengths, no_length),
    }


def _events(sight: Sight, pairs: list[tuple[Crank, Crank]], missed: list[Crank], invented: list[Crank]) -> Score:
    hits = sum(sight.owes_crank(a) for a, _ in pairs)
    return Score(hits, sum(sight.owes_crank(crank) for crank in missed), len(invented))


def _started(result: Result) -> list[Crank]:
    return [drive.crank for drive in result.drives if drive.crank is not None]


def _failed(result: Result) -> list[Crank]:
    return [crank for stand in result.stands for crank in stand.failed_starts]


def _lowest_reading(sight: Sight, crank: Crank, blocks: Sequence[Block]) -> float:
    """The lowest volts in the log while the starter turned, one sampling interval added at each edge; nan: none."""
    assert crank.duration_s is not None  # the truth knows
    edge = sight.window_us(0.0)
    first, last = crank.start - edge, crank.start + round(crank.duration_s * SECOND_US) + edge
    lows = [
        float(np.min(block.volts[a:b]))
        for block in blocks
        if block.t_us[0] <= last and block.t_us[-1] >= first
        for a, b in [np.searchsorted(block.t_us, [first, last + 1])]
        if b > a
    ]
    return min(lows, default=float("nan"))


def _stops(sight: Sight, truth: Result, found: Result) -> Score:
    true = [stop.start for drive in truth.drives for stop in drive.stops]
    told = [stop.start for drive in found.drives for stop in drive.stops]
    done = match(true, told, sight.window_us(WINDOW_S), int, int)
    return Score(len(done.pairs), len(done.missed), len(done.invented))


def _charge(sight: Sight, stands: list[tuple[Stand, Stand]], drives: list[tuple[Drive, Drive]]) -> Scores:
    """Errors in % of all charge that flowed in that stand or drive, in and out together."""
    pairs: dict[str, Sequence[tuple[Stand | Drive, Stand | Drive]]] = {"stand": stands, "drive": drives}
    sides: dict[str, Callable[[Stand | Drive], float | None]] = {
        "in": lambda part: part.charge_in_ah,
        "out": lambda part: part.charge_out_ah,
        "net": _net_ah,
    }
    scores = {}
    for name, side in ((name, side) for name in pairs for side in sides):
        errors, missing = [], 0
        for true, told in pairs[name]:
            flowed = (true.charge_in_ah or 0.0) + (true.charge_out_ah or 0.0)
            a, b = sides[side](true), sides[side](told)
            if a is None or not flowed:
                continue
            if b is None:
                missing += 1
            else:
                allowed = CHARGE_SHARE + _edge_ah(sight, name) / flowed
                errors.append((100 * (b - a) / flowed, 100 * allowed))
        scores[f"{name}_charge_{side}"] = of_errors(errors, missing)
    return scores


def _net_ah(part: Stand | Drive) -> float | None:
    if part.charge_in_ah is None or part.charge_out_ah is None:
        return None
    return part.charge_in_ah - part.charge_out_ah


def _edge_ah(sight: Sight, name: str) -> float:
    """What one sampling interval at a border can hold: key-on loads, and in a drive the starter."""
    vehicle = sight.scenario.vehicle
    amps = vehicle.starter if name == "drive" else vehicle.key_on + vehicle.shutdown[0].amps
    return amps * (sight.interval_s + (1.0 if name == "stand" else 0.0)) / 3600.0


def _charging(sight: Sight, drives: list[tuple[Drive, Drive]]) -> Scores:
    faults, kinds = Score(), Score()
    for true, told in drives:
        expected, given = set(true.charging.faults), set(told.charging.faults)
        if expected:
            shown = {f for f in expected if sight.shows_fault(f)} if sight.warms_up(true) else set()
            faults += Score(len(shown & given), len(shown - given))
        else:
            faults += Score(invented=len(given))
            if sight.warms_up(true):
                kinds += _regulation(sight.named(true), told.charging.regulation)
    return {"faults": faults, "regulation": kinds}


def _regulation(true: set[str], told: str) -> Score:
    """One of the true words is a hit, `unknown` a miss, another word an invention."""
    if told == "unknown":
        return Score(missed=1)
    return Score(hits=1) if told in true else Score(invented=1)
