"""Planning a stand: staged shutdown, sleep level, wake-ups, visits, chargers, and the approach to the next drive."""

from __future__ import annotations

import numpy as np

from monitor.simulate.climate import air_celsius
from monitor.simulate.crank import crank
from monitor.simulate.pieces import Piece, decay, flat, us
from monitor.simulate.plan import Plan, PlannedStand, PlannedWake, PulseTrain, Supply, stream
from monitor.simulate.scenario import Scenario, Trip, WakeUpSpec
from monitor.simulate.shapes import excursion, visit, wander

CLEAR_US = us(5.0)  # planned wake-ups keep clear of falling asleep and of the approach by this much
CLOCK_SPREAD = 0.003  # a module's cheap oscillator against its nominal; our choice
PREHEAT_C = 20.0  # below, a diesel preheats; our choice
FAILED_S = 2.2  # mean length of a failed start


def plan_stand(
    plan: Plan, scenario: Scenario, number: int, start: int, end: int, trip: Trip | None, parked_before: bool
) -> None:
    """Add the stand from `start` to `end` (the crank of `trip`, or the end of the scenario) to the plan."""
    stand = PlannedStand(start, end, open=trip is None, observed_shutdown=not parked_before)
    if trip is not None:
        _approach(plan, scenario, stand, trip, number)
    _shutdown(plan, scenario, stand, number)
    _sleep(plan, scenario, stand)
    if stand.settled is not None:
        _wake_ups(plan, scenario, stand, number)
    for charger in scenario.chargers:
        a = plan.start + us(charger.after)
        b = min(a + us(charger.duration), stand.asleep_until)
        if start <= a < b:
            volts = flat(a, b, charger.volts * scenario.battery.nominal / 12)
            plan.supplies.append(Supply(volts, charger.max))
            stand.charges.append((a, b))
    plan.stands.append(stand)


def _approach(plan: Plan, scenario: Scenario, stand: PlannedStand, trip: Trip, number: int) -> None:
    """Unlocking, key on, glow plugs, failed starts; all before the crank at the stand's end."""
    rng = stream(scenario.seed, "approach", number)
    car = scenario.vehicle
    room_s = 0.6 * (stand.end - stand.start) / 1e6
    key_s = float(rng.uniform(1.5, 9.0))
    celsius = float(air_celsius(scenario, np.array([stand.end]))[0])
    glow_s = float(rng.uniform(4.0, 8.0)) if car.fuel == "diesel" and celsius < PREHEAT_C else 0.0
    failed = [float(rng.uniform(0.6, 1.6)) * FAILED_S for _ in range(trip.failed_starts)]
    pauses = [float(rng.uniform(4.0, 12.0)) for _ in failed]
    key_s = min(key_s + glow_s + sum(failed) + sum(pauses), room_s)
    awake_s = car.approach if trip.approach is None else trip.approach
    awake_s = min(awake_s * float(rng.uniform(0.6, 1.4)), room_s - key_s)
    key_on = stand.end - us(key_s)
    stand.approach = key_on - us(awake_s)
    if key_on > stand.approach:
        first = min(stand.approach + us(8.0), key_on)
        plan.loads.append(wander(stand.approach, first, 1.5 * car.approach_amps, rng))
        if key_on > first:
            plan.loads.append(wander(first, key_on, car.approach_amps, rng))
    if stand.end > key_on:
        plan.loads.append(wander(key_on, stand.end, car.key_on, rng))
    if glow_s and key_on + us(glow_s) < stand.end:
        plan.loads.append(decay(key_on, key_on + us(glow_s), 20.0 * car.cylinders, 11.0 * car.cylinders))
    at = stand.end
    for length, pause in zip(failed, pauses, strict=True):
        at -= us(length + pause)
        if at > key_on:
            piece, truth = crank(at, length, car, False, celsius, rng)
            plan.starter.append(piece)
            stand.failed.insert(0, truth)


def _shutdown(plan: Plan, scenario: Scenario, stand: PlannedStand, number: int) -> None:
    if not stand.observed_shutdown:
        stand.settled = stand.start
        return
    rng = stream(scenario.seed, "shutdown", number)
    car = scenario.vehicle
    at = stand.start
    for index, stage in enumerate(car.shutdown):
        length = stage.duration * max(0.3, 1 + car.shutdown_jitter * float(rng.standard_normal()))
        _until(plan, wander(at, at + us(length), stage.amps, rng), stand.asleep_until)
        at += us(length)
        if index == 0 and car.follow_me_home is not None:
            lamps = wander(at, at + us(car.follow_me_home.duration), car.follow_me_home.amps, rng)
            _until(plan, lamps, stand.asleep_until)
    if at < stand.asleep_until:
        stand.settled = at


def _until(plan: Plan, piece: Piece, end: int) -> None:
    kept = piece.cut(piece.start, end)
    if kept is not None:
        plan.loads.append(kept)


def _sleep(plan: Plan, scenario: Scenario, stand: PlannedStand) -> None:
    car = scenario.vehicle
    level = car.sleep
    for module in scenario.keeps_awake:
        since, until = plan.start + us(module.after), module.until
        if since <= stand.start and (until is None or stand.start < plan.start + us(until)):
            level += module.amps
    t = np.unique(np.append(np.arange(stand.start, stand.end, us(900.0)), stand.end))
    warm = 1 + car.sleep_per_kelvin * (air_celsius(scenario, t) - 15.0)
    plan.loads.append(Piece(t, level * np.maximum(warm, 0.2)))
    if stand.settled is None:
        return
    for name, pulses in (("flash", car.lamp_flash), ("polling", car.polling)):
        if pulses is not None and stand.asleep_until > stand.settled:
            # no two clocks agree: else a logger would strobe, and see every flash or none
            off = CLOCK_SPREAD * float(np.clip(stream(scenario.seed, name).standard_normal(), -2.5, 2.5))
            period = max(us(pulses.period * (1 + off)), us(pulses.width) + 1)
            dither = int(stream(scenario.seed, "dither").integers(1 << 40)) if name == "polling" else None
            plan.pulses.append(
                PulseTrain(stand.settled, stand.asleep_until, pulses.amps, us(pulses.width), period, dither)
            )


def _wake_ups(plan: Plan, scenario: Scenario, stand: PlannedStand, number: int) -> None:
    assert stand.settled is not None  # the caller looked
    for group, spec in enumerate(scenario.wake_ups, start=1):
        rng = stream(scenario.seed, "wake", group, number)
        for at in _times(plan, stand, spec, rng):
            jitter = [1 + spec.jitter * max(-2.5, min(2.5, float(rng.standard_normal()))) for _ in range(2)]
            pieces = excursion(spec.shape, at, spec.duration * jitter[0], spec.amps * (1 + (jitter[1] - 1) / 2), rng)
            _place(plan, stand, PlannedWake(pieces, group))
    group = len(scenario.wake_ups)
    for drain in scenario.drains:
        if drain.kind != "intermittent":
            continue
        group += 1
        rng = stream(scenario.seed, "intermittent", group, number)
        longest = 1.5 * drain.on
        spec = WakeUpSpec(
            amps=drain.amps,
            duration=longest,
            every=drain.on + drain.off,
            random=True,
            after=drain.after,
            until=drain.until,
        )
        for at in _times(plan, stand, spec, rng):
            length = longest * float(rng.uniform(1 / 3, 1.0))
            _place(plan, stand, PlannedWake(excursion("rectangular", at, length, drain.amps, rng), group))
    for item in scenario.visits:
        at = plan.start + us(item.at)
        rng = stream(scenario.seed, "visit", int(item.at))
        _place(plan, stand, PlannedWake(visit(at, item.duration, item.amps, rng), group + 1))


def _times(plan: Plan, stand: PlannedStand, spec: WakeUpSpec, rng: np.random.Generator) -> list[int]:
    """Starts of this cause's wake-ups inside the stand."""
    if spec.at:
        return [plan.start + us(at) for at in spec.at]
    assert spec.every is not None  # the model looked
    assert stand.settled is not None  # the caller looked
    first = max(stand.settled, plan.start + us(spec.after))
    last = stand.asleep_until if spec.until is None else min(stand.asleep_until, plan.start + us(spec.until))
    found: list[int] = []
    at = first + us(spec.every * float(rng.random()))
    while at < last:
        found.append(at)
        gap = float(rng.exponential()) if spec.random else 1 + spec.jitter * float(rng.standard_normal())
        at += us(max(spec.every * max(gap, 0.05), 1.2 * spec.duration + 1.0))
    return found


def _place(plan: Plan, stand: PlannedStand, wake: PlannedWake) -> None:
    """Add a wake-up if it lies wholly inside the sleep of this stand."""
    assert stand.settled is not None  # the caller looked
    start, end = wake.pieces[0].start, wake.pieces[-1].end
    if start >= stand.settled + CLEAR_US and end <= stand.asleep_until - CLEAR_US:
        plan.loads.extend(wake.pieces)
        stand.wakes.append(wake)
