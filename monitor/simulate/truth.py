"""The truth about a simulated log, in the shape of the result document.

Figures come from the plan's own pieces and the battery's track, never from the rendered samples. Times are as the
logger's clock shows them. Charge is what really flowed, in gaps too. What is not knowable or has no meaning is None.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from monitor.base.fields import Span
from monitor.base.results import (
    Charging,
    ClockStep,
    Crank,
    Drive,
    LevelStep,
    Log,
    PhaseSpan,
    Plateau,
    Rate,
    Rest,
    Result,
    Stand,
    WakeUp,
)
from monitor.base.samples import Floats, Ints
from monitor.simulate.logger import Clock, clock_of, count_rows, gaps_of, instants
from monitor.simulate.ocv import ocv_volts
from monitor.simulate.pieces import add, flat, us
from monitor.simulate.plan import Plan, PlannedCrank, PlannedDrive, PlannedStand
from monitor.simulate.scenario import Scenario
from monitor.simulate.track import Track

SETTLED_MV_PER_H = 2.0  # practical bound below which a rest voltage counts as open-circuit voltage
STEP_LEAST_A = 0.001  # a smaller change of the level is no step
TAIL_SHARE = 0.1  # the last tenth of a drive shows the tail current, if the drive is long enough
TAIL_LEAST_S = 600.0


def truth_of(scenario: Scenario, plan: Plan, track: Track) -> Result:
    """The whole result document, as a perfect observer would fill it in."""
    clock = clock_of(scenario.logger, plan)
    return Result(
        vehicle=scenario.name,
        log=_log(scenario, plan, track, clock),
        stands=[_stand(scenario, plan, track, clock, stand) for stand in plan.stands],
        drives=[_drive(scenario, track, clock, drive) for drive in plan.drives],
    )


def _log(scenario: Scenario, plan: Plan, track: Track, clock: Clock) -> Log:
    spec = scenario.logger
    groups, gaps = instants(spec, plan, track), gaps_of(spec, plan)
    samples, repeated = count_rows(scenario, plan, track)
    busiest = spec.rate if spec.fast is None else spec.fast.rate
    seen = [plan.start, int(groups[-1].times(groups[-1].count - 1, groups[-1].count)[0])]
    return Log(
        first=clock.read(seen[0]),
        last=clock.read(seen[1]),
        samples=samples,
        duplicates=repeated,
        clock_steps=[ClockStep(at=clock.read(at), seconds=by / 1e6) for at, by in clock.steps],
        gaps=[Span(start=clock.read(a), end=clock.read(b)) for a, b in gaps],
        unobserved_s=sum(b - a for a, b in gaps) / 1e6,
        channels=list(spec.channels),
        rate_hz=Rate(median=spec.rate, max=busiest),
    )


def _stand(scenario: Scenario, plan: Plan, track: Track, clock: Clock, stand: PlannedStand) -> Stand:
    part = track.between(stand.start, stand.end)
    result = Stand(
        start=clock.read(stand.start),
        end=None if stand.open else clock.read(stand.end),
        open=stand.open,
        charges=[Span(start=clock.read(a), end=clock.read(b)) for a, b in stand.charges],
        charge_in_ah=_charge(track.t_us[part], np.maximum(track.amps[part], 0.0)),
        charge_out_ah=_charge(track.t_us[part], np.maximum(-track.amps[part], 0.0)),
        failed_starts=[_crank(track, clock, crank) for crank in stand.failed],
        rest=_rest(scenario, track, stand),
    )
    if stand.settled is None:
        return result
    result.settled_at = clock.read(stand.settled)
    if stand.observed_shutdown:
        result.time_to_sleep_s = (stand.settled - stand.start) / 1e6
    steps = _level_steps(plan, stand)
    level = _level(plan, stand, track)
    result.wake_ups = [
        _wake(clock, found, _level_at(track, level, found[0], before=True)) for found in _excursions(stand)
    ]
    borders = [stand.settled, *(at for at, _, _ in steps), stand.asleep_until]
    for a, b in pairwise(borders):
        if b > a:
            volts = track.mean(track.volts, a, b)
            result.plateaus.append(
                Plateau(start=clock.read(a), end=clock.read(b), amps=-track.mean(level, a, b), volts=volts)
            )
    result.level_steps = [
        LevelStep(
            at=clock.read(at),
            from_a=_level_at(track, level, at, before=True),
            to_a=_level_at(track, level, at, before=False),
        )
        for at, _, _ in steps
    ]
    if result.plateaus:  # the level held longest
        longest = max(result.plateaus, key=lambda plateau: plateau.end - plateau.start)
        result.sleep_current_a = -longest.amps
    return result


def _level(plan: Plan, stand: PlannedStand, track: Track) -> Floats:
    """Drain at the nodes of the stand's sleep without wake-ups: flash and polling by their mean. NaN elsewhere."""
    assert stand.settled is not None  # the caller looked
    awake = [piece for wake in stand.wakes for piece in wake.pieces]
    part = track.between(stand.settled, stand.asleep_until)
    names = {id(piece) for piece in awake}
    inside = [p for p in plan.loads if id(p) not in names and p.start < stand.asleep_until and p.end > stand.settled]
    inside += [flat(p.start, p.end, p.mean_a) for p in plan.pulses if p.start < stand.end and p.end > stand.start]
    level = np.full(len(track.t_us), np.nan)
    level[part] = add(inside, track.t_us)[part]
    return level


def _level_at(track: Track, level: Floats, at: int, before: bool) -> float:
    i = int(np.searchsorted(track.t_us, at, "left" if before else "right")) - (0 if before else 1)
    return float(level[i])


def _level_steps(plan: Plan, stand: PlannedStand) -> list[tuple[int, float, float]]:
    """Instants at which a drain begins or ends within the sleep, with the change before and after."""
    found: dict[int, list[float]] = {}
    for piece in plan.level_drains:
        for at, before, after in ((piece.start, 0.0, piece.values[0]), (piece.end, piece.values[-1], 0.0)):
            assert stand.settled is not None  # the caller looked
            if stand.settled < at < stand.asleep_until and abs(after - before) >= STEP_LEAST_A:
                found.setdefault(at, []).append(float(after - before))
    return [(at, 0.0, sum(found[at])) for at in sorted(found)]


def _excursions(stand: PlannedStand) -> list[tuple[int, int, float, float, int | None]]:
    """Wake-ups, overlapping ones joined: start, end, peak A, charge As, group (None when causes mix)."""
    joined: list[tuple[int, int, list[int], list[int]]] = []
    order = sorted(range(len(stand.wakes)), key=lambda k: stand.wakes[k].pieces[0].start)
    for k in order:
        wake = stand.wakes[k]
        start, end = wake.pieces[0].start, wake.pieces[-1].end
        if joined and start <= joined[-1][1]:
            first, last, members, groups = joined[-1]
            joined[-1] = (first, max(last, end), [*members, k], [*groups, wake.group])
        else:
            joined.append((start, end, [k], [wake.group]))
    found = []
    for start, end, members, groups in joined:
        pieces = [p for k in members for p in stand.wakes[k].pieces]
        edges = np.unique(np.concatenate([p.t_us for p in pieces]))
        peak = float(np.max(add(pieces, np.repeat(edges, 2))))
        charge = sum(p.integral() for p in pieces)
        found.append((start, end, peak, charge, groups[0] if len(set(groups)) == 1 else None))
    return found


def _wake(clock: Clock, found: tuple[int, int, float, float, int | None], level_a: float) -> WakeUp:
    """`peak_a` is the highest drain, the level included; excess and charge are above the level."""
    start, end, peak, charge_as, group = found
    return WakeUp(
        start=clock.read(start),
        end=clock.read(end),
        peak_a=level_a + peak,
        excess_a=charge_as / ((end - start) / 1e6),
        charge_ah=charge_as / 3600.0,
        group=group,
    )


def _rest(scenario: Scenario, track: Track, stand: PlannedStand) -> Rest:
    i = int(np.searchsorted(track.t_us, stand.asleep_until, "left"))
    back = int(np.searchsorted(track.t_us, stand.asleep_until - us(3600.0)))
    i, back = min(i, len(track.t_us) - 1), min(back, len(track.t_us) - 2)
    if i <= back or stand.settled is None or stand.asleep_until - stand.settled < us(600.0):
        return Rest()
    hours = (track.t_us[i] - track.t_us[back]) / 3.6e9
    kept = track.emf - track.ocv
    settled = abs((kept[i] - kept[back]) / hours) * 1e3 < SETTLED_MV_PER_H
    first = int(np.searchsorted(track.t_us, stand.settled))
    spec = scenario.battery
    lost = [float(ocv_volts(spec.kind, track.soc[k])) * spec.nominal / 12 for k in (first, i)]
    decay_h = (track.t_us[i] - track.t_us[first]) / 3.6e9
    return Rest(
        volts=float(track.volts[i]),
        settled=bool(settled),
        ocv_volts=float(track.ocv[i]),
        decay_mv_per_h=(lost[0] - lost[1]) / decay_h * 1e3,  # falling: positive; by state of charge alone
        state_of_charge=float(track.soc[i]),
        basis="the simulated battery's own state at the end of its sleep",
    )


def _crank(track: Track, clock: Clock, crank: PlannedCrank) -> Crank:
    part = track.between(crank.start, crank.end)
    before = max(part.start - 1, 0)  # the node just before the starter engages
    volts = track.mean(track.volts, crank.steady, crank.firing)
    amps = track.mean(track.amps, crank.steady, crank.firing)
    v0, a0 = float(track.volts[before]), float(track.amps[before])
    return Crank(
        start=clock.read(crank.start),
        duration_s=(crank.end - crank.start) / 1e6,
        volts_before=v0,
        volts_min=float(np.min(track.volts[part])),
        amps_peak=-float(np.max(np.abs(track.amps[part]))),
        amps_plateau=-abs(amps),
        resistance_mohm=(v0 - volts) / (a0 - amps) * 1e3,
        engine_rpm=crank.rpm,
    )


def _drive(scenario: Scenario, track: Track, clock: Clock, drive: PlannedDrive) -> Drive:
    part = track.between(drive.start, drive.end)
    return Drive(
        start=clock.read(drive.start),
        end=None if drive.open else clock.read(drive.end),
        open=drive.open,
        crank=_crank(track, clock, drive.crank),
        charging=_charging(track, clock, drive),
        charge_in_ah=_charge(track.t_us[part], np.maximum(track.amps[part], 0.0)),
        charge_out_ah=_charge(track.t_us[part], np.maximum(-track.amps[part], 0.0)),
        stops=[Span(start=clock.read(a), end=clock.read(b)) for a, b in drive.stops],
    )


def _charging(track: Track, clock: Clock, drive: PlannedDrive) -> Charging:
    if drive.charging_from is None:
        return Charging(regulation="none", faults=list(drive.faults))  # type: ignore[arg-type]  # plain words here
    t = np.arange(drive.charging_from, drive.end, us(1.0))
    for a, b in drive.stops:
        t = t[(t < a) | (t >= b)]
    volts = np.interp(t, track.t_us, track.volts)
    low, middle, high = (float(np.quantile(volts, q)) for q in (0.05, 0.5, 0.95)) if len(t) else (None,) * 3
    tail = None
    length = drive.end - drive.charging_from
    if length > us(TAIL_LEAST_S) and drive.regulation != "managed":
        tail = track.mean(track.amps, _node(track, drive.end - int(TAIL_SHARE * length)), drive.end)
    return Charging(
        delay_s=(drive.charging_from - drive.crank.end) / 1e6,
        volts_median=middle,
        volts_p05=low,
        volts_p95=high,
        regulation=drive.regulation,  # type: ignore[arg-type]  # one of the document's words by the scenario's model
        phases=[
            PhaseSpan(
                phase=name,  # type: ignore[arg-type]  # written by the alternator's plan only
                start=clock.read(a),
                end=clock.read(b),
                volts=float(np.median(track.volts[track.between(a, b)])),
            )
            for name, a, b in drive.phases
        ],
        tail_amps=tail,
        ripple_mv=drive.ripple_v * 1e3,
        faults=list(drive.faults),  # type: ignore[arg-type]  # as above
    )


def _node(track: Track, t_us: int) -> int:
    """The node at or before an instant."""
    return int(track.t_us[int(np.searchsorted(track.t_us, t_us, "right")) - 1])


def _charge(t_us: Ints, amps: Floats) -> float:
    return float(np.sum(np.diff(t_us) * (amps[1:] + amps[:-1])) / 2 / 3.6e9)
