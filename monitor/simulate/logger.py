"""The logger: when it samples, and what it makes of what it sees.

Rendered in fixed portions of PORTION samples, each with its own random stream, so that the result does not depend on
how the samples are handed on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from monitor.base.samples import SECOND_US, Block, Floats, Ints
from monitor.simulate.pieces import us
from monitor.simulate.plan import Plan, PulseTrain, stream
from monitor.simulate.scenario import LoggerSpec, Scenario
from monitor.simulate.track import Track

PORTION = 65536
HEALTHY_RIPPLE_HZ, DIODE_RIPPLE_HZ = 1200.0, 200.0  # six pulses, or one, per electrical period of 202.5 Hz at idle
DIODE_RIPPLE_V = 0.3  # above this the ripple is an open diode's


@dataclass(frozen=True, slots=True)
class Instants:
    """Sampling instants at one rate: `first` + k · `period_us`, k < `count`; true µs UTC."""

    first: int
    period_us: float
    count: int

    def times(self, k0: int, k1: int) -> Ints:
        """Instants k0 ≤ k < k1."""
        return self.first + np.round(np.arange(k0, k1) * self.period_us).astype(np.int64)


@dataclass(frozen=True, slots=True)
class Clock:
    """The logger's clock against true time: `steps` of (true µs from which, µs added)."""

    steps: tuple[tuple[int, int], ...]

    def reads(self, t_us: Ints) -> Ints:
        """What the clock says at true instants."""
        shown = t_us.copy()
        for at, by in self.steps:
            shown[t_us >= at] += by
        return shown

    def read(self, t_us: int) -> int:
        """What the clock says at one true instant."""
        return t_us + sum(by for at, by in self.steps if t_us >= at)


def clock_of(spec: LoggerSpec, plan: Plan) -> Clock:
    """The logger's clock."""
    return Clock(tuple((plan.start + us(step.after), us(step.by)) for step in spec.clock_steps))


def gaps_of(spec: LoggerSpec, plan: Plan) -> list[tuple[int, int]]:
    """Spans without samples, true µs."""
    return [(plan.start + us(gap.after), plan.start + us(gap.after + gap.duration)) for gap in spec.gaps]


def instants(spec: LoggerSpec, plan: Plan, track: Track) -> list[Instants]:
    """When the logger samples, gaps not yet taken out."""
    slow = SECOND_US / spec.rate
    if spec.fast is None:
        return [Instants(plan.start, slow, int(np.ceil((plan.end - plan.start) / slow)))]
    fast = SECOND_US / spec.fast.rate
    spans, at = [], plan.start
    for a, b in [*_busy(spec, track), (plan.end, plan.end)]:
        # the slow grid is common to all the log; a busy span begins its own at the moment it is noticed
        k0 = int(np.ceil((at - plan.start) / slow))
        k1 = int(np.ceil((a - plan.start) / slow))
        if k1 > k0:
            spans.append(Instants(plan.start + round(k0 * slow), slow, k1 - k0))
        b = min(b, plan.end)
        if b > a:
            spans.append(Instants(a, fast, int(np.ceil((b - a) / fast))))
        at = b
    return spans


def _busy(spec: LoggerSpec, track: Track) -> list[tuple[int, int]]:
    """Spans at the fast rate."""
    assert spec.fast is not None  # the caller looked
    jump = np.zeros(len(track.t_us), dtype=bool)
    jump[1:] = np.abs(np.diff(track.amps)) > spec.fast.step
    hot = track.t_us[jump | (np.abs(track.amps) > spec.fast.above)]
    hold = us(spec.fast.hold)
    if len(hot) == 0:
        return []
    breaks = np.flatnonzero(np.diff(hot) > hold)
    starts = hot[np.concatenate([[0], breaks + 1])]
    ends = hot[np.concatenate([breaks, [len(hot) - 1]])] + hold
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def rows(scenario: Scenario, plan: Plan, track: Track) -> Iterator[Block]:
    """What the logger writes, portion by portion; with its clock set back or rows doubled, times may not increase."""
    spec = scenario.logger
    render = _Render(scenario, plan, track)
    clock = clock_of(spec, plan)
    for number, period_us, t in _portions(spec, plan, track):
        block = render.block(t, period_us, stream(scenario.seed, "logger", number))
        shown = Block(clock.reads(t), block.volts, block.amps, block.celsius)
        written = _written(scenario, plan, number, t)
        yield shown if np.all(written == 1) else _repeat(shown, written)


def count_rows(scenario: Scenario, plan: Plan, track: Track) -> tuple[int, int]:
    """(samples, rows that repeat one) in all, without rendering them."""
    samples = repeated = 0
    for number, _, t in _portions(scenario.logger, plan, track):
        written = _written(scenario, plan, number, t)
        samples += int(np.count_nonzero(written))
        repeated += int(np.count_nonzero(written == 2))
    return samples, repeated


def _portions(spec: LoggerSpec, plan: Plan, track: Track) -> Iterator[tuple[int, float, Ints]]:
    """(number, sampling period in µs, true instants) of each portion, gaps not yet taken out."""
    number = 0
    for group in instants(spec, plan, track):
        for k in range(0, group.count, PORTION):
            yield number, group.period_us, group.times(k, min(k + PORTION, group.count))
            number += 1


def _written(scenario: Scenario, plan: Plan, number: int, t: Ints) -> Ints:
    """How often each sample is written: not at all in a gap, twice where it is doubled."""
    times = np.ones(len(t), dtype=np.int64)
    if scenario.logger.duplicates > 0:
        times += stream(scenario.seed, "doubled", number).random(len(t)) < scenario.logger.duplicates
    for a, b in gaps_of(scenario.logger, plan):
        times[(t >= a) & (t < b)] = 0
    return times


def _repeat(block: Block, times: Ints) -> Block:
    def each(values: Floats | None) -> Floats | None:
        return None if values is None else np.repeat(values, times)

    return Block(np.repeat(block.t_us, times), np.repeat(block.volts, times), each(block.amps), each(block.celsius))


class _Render:
    """Reads the track as the logger's converter would."""

    def __init__(self, scenario: Scenario, plan: Plan, track: Track) -> None:
        self.spec = scenario.logger
        self.plan = plan
        self.track = track
        dt = np.diff(track.t_us) / SECOND_US
        self._sum_a = np.concatenate([[0.0], np.cumsum(dt * (track.amps[1:] + track.amps[:-1]) / 2)])
        self._sum_v = np.concatenate([[0.0], np.cumsum(dt * (track.volts[1:] + track.volts[:-1]) / 2)])

    def block(self, t: Ints, period_us: float, rng: np.random.Generator) -> Block:
        """Samples at true instants `t`."""
        spec, track = self.spec, self.track
        at, share = self._place(t)
        since = np.maximum(t - round(period_us), self.plan.start)
        if spec.averaging:
            span_s = np.maximum(t - since, 1) / SECOND_US
            amps = (self._sum(self._sum_a, track.amps, t) - self._sum(self._sum_a, track.amps, since)) / span_s
            volts = (self._sum(self._sum_v, track.volts, t) - self._sum(self._sum_v, track.volts, since)) / span_s
            first = t <= self.plan.start  # nothing to average yet
            amps[first] = _lines(track.amps, at[first], share[first])
            volts[first] = _lines(track.volts, at[first], share[first])
        else:
            amps, volts = _lines(track.amps, at, share), _lines(track.volts, at, share)
        extra = np.zeros(len(t))
        for train in self.plan.pulses:
            if train.start < t[-1] and train.end > t[0] - period_us:
                extra += _pulses(train, since if spec.averaging else None, t)
        ripple = self._ripple(t, period_us, rng)
        ohm = track.ohm[at]
        volts += ripple - extra * ohm
        amps += ripple / ohm - extra
        celsius = _lines(track.celsius, at, share)
        amps += spec.zero_offset + spec.zero_drift * (celsius - 15.0)
        volts += spec.volts_noise * rng.standard_normal(len(t))
        amps += spec.amps_noise * rng.standard_normal(len(t))
        return Block(
            t,
            _quantised(volts, spec.volts_resolution) if "volts" in spec.channels else np.full(len(t), np.nan),
            _quantised(amps, spec.amps_resolution) if "amps" in spec.channels else None,
            _quantised(celsius, 0.1) if "celsius" in spec.channels else None,
        )

    def _place(self, t: Ints) -> tuple[Ints, Floats]:
        nodes = self.track.t_us
        at = np.clip(np.searchsorted(nodes, t, "right") - 1, 0, len(nodes) - 2).astype(np.int64)
        width = nodes[at + 1] - nodes[at]
        return at, np.clip((t - nodes[at]) / np.maximum(width, 1), 0.0, 1.0)

    def _sum(self, sums: Floats, values: Floats, t: Ints) -> Floats:
        at, share = self._place(t)
        dt = (self.track.t_us[at + 1] - self.track.t_us[at]) / SECOND_US * share
        return np.asarray(sums[at] + dt * (values[at] + 0.5 * share * (values[at + 1] - values[at])))

    def _ripple(self, t: Ints, period_us: float, rng: np.random.Generator) -> Floats:
        """Rectifier ripple at a phase that never repeats: far above any rate, it aliases to noise."""
        size = np.zeros(len(t))
        for supply in self.plan.supplies:
            if supply.ripple_v > 0 and supply.volts.start < t[-1] and supply.volts.end > t[0]:
                i, j = np.searchsorted(t, [supply.volts.start, supply.volts.end])
                hz = DIODE_RIPPLE_HZ if supply.ripple_v > DIODE_RIPPLE_V else HEALTHY_RIPPLE_HZ
                passed = min(1.0, SECOND_US / (np.pi * hz * period_us)) if self.spec.averaging else 1.0
                size[i:j] = supply.ripple_v / 2 * passed
        return np.asarray(size * np.sin(2 * np.pi * rng.random(len(t))))


def _lines(values: Floats, at: Ints, share: Floats) -> Floats:
    return np.asarray(values[at] + share * (values[at + 1] - values[at]))


def _pulses(train: PulseTrain, since: Ints | None, t: Ints) -> Floats:
    """Drain above the train's mean: at instants, or averaged from `since` to them."""
    inside = (t > train.start) & (t <= train.end)
    if since is None:
        _, phase = train.since_pulse(t)
        return np.where(inside, train.amps * ((phase >= 0) & (phase < train.width_us)) - train.mean_a, 0.0)

    def charge(at: Ints) -> Floats:
        periods, phase = train.since_pulse(np.clip(at, train.start, train.end))
        return np.asarray(periods * train.width_us + np.clip(phase, 0, train.width_us))

    def asleep(at: Ints) -> Floats:
        return np.asarray(np.clip(at, train.start, train.end) - train.start, dtype=np.float64)

    span = np.maximum(t - since, 1)
    drawn = train.amps * (charge(t) - charge(since)) - train.mean_a * (asleep(t) - asleep(since))
    return np.asarray(drawn / span)


def _quantised(values: Floats, step: float) -> Floats:
    if step <= 0:
        return values
    digits = max(0, int(np.ceil(-np.log10(step))) + 2)
    return np.asarray(np.round(np.round(values / step) * step, digits))
