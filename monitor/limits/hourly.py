"""What only the assessment can tell, for the limits that are judged once an hour and when a stand or drive ends.

The findings of the last KEPT_DAYS are kept by the watch; with what is open now they are the document the assessment
reads. Each figure is worked out when a limit asks for it. To add a quantity: see observe.py.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from statistics import median

from monitor.assess.course import course
from monitor.assess.endurance import days_to_no_start, present_drain
from monitor.assess.ratings import capacity_of
from monitor.assess.resistance import cold_factor
from monitor.base.results import Drive, Log, QuarterHour, Rest, Result, Stand
from monitor.base.samples import SECOND_US
from monitor.base.vehicle import Vehicle
from monitor.detect.engine import Engine, Finding
from monitor.detect.quarters import AH_PER_NC, QUARTER_S
from monitor.limits.observe import NOTHING, Look, Seen
from monitor.limits.rules import Limit

KEPT_DAYS = 14  # of findings; our choice: longer than any window asked of rules, and a few hundred kB
DAY_S = 86_400.0
RESTED_S = 3600.0  # a shorter rest shows surface charge; our choice, published rules begin at 1 h
SEEN_SHARE = 0.9  # of a window that must be observed before a balance is told; our choice
BASELINE_CRANKS = 5  # cranks that make the vehicle's own baseline, and those held against it; our choice


def kept(findings: list[Finding], t_us: int) -> list[Finding]:
    """Findings that ended within KEPT_DAYS before `t_us`."""
    since = t_us - round(KEPT_DAYS * DAY_S) * SECOND_US
    return [f for f in findings if (f.start if isinstance(f, QuarterHour) else f.end or f.start) >= since]


def slim(finding: Finding) -> Finding:
    """The finding without what no quantity reads."""
    if isinstance(finding, Stand):
        return finding.model_copy(update={"load_steps": []})
    return finding


class Hour:
    """The view of one hour; figures are worked out when asked for."""

    def __init__(
        self, look: Look, engine: Engine, findings: list[Finding], vehicle: Vehicle, ohms: list[float]
    ) -> None:
        """`ohms`: the resistances of cranks so far, mΩ as at 25 °C; the first are the baseline."""
        self.look, self.engine, self.findings, self.vehicle, self.ohms = look, engine, findings, vehicle, ohms

    @cached_property
    def result(self) -> Result:
        """Stands and drives of the last days, and the one that is open."""
        engine, t_us = self.engine, self.look.t_us
        stands = [f for f in self.findings if isinstance(f, Stand)]
        drives = [f for f in self.findings if isinstance(f, Drive)]
        stands += [engine.stand.result(t_us, is_open=True)] if engine.stand is not None else []
        drives += [engine.drive.result(t_us, is_open=True)] if engine.drive is not None else []
        seen = engine.overview.state
        log = Log(first=seen.first_us, last=t_us, samples=seen.samples, channels=["volts", "amps"])
        return Result(log=log, stands=stands, drives=drives)

    @cached_property
    def rest(self) -> Rest | None:
        """Rest of the open stand, or of the one that has just ended, if it has rested for RESTED_S."""
        ended = [f for f in self.look.ended if isinstance(f, Stand)]
        stand = self.result.stands[-1] if self.engine.stand is not None else ended[-1] if ended else None
        if stand is None:
            return None
        end = stand.end if stand.end is not None else self.look.t_us
        return stand.rest if (end - stand.start) / SECOND_US >= RESTED_S else None


def _rest_volts(hour: Hour, limit: Limit) -> Seen:
    rest = hour.rest
    if rest is None:
        return NOTHING
    return Seen(rest.ocv_volts if rest.settled else rest.volts, celsius=hour.look.celsius())


def _decay(hour: Hour, limit: Limit) -> Seen:
    return NOTHING if hour.rest is None else Seen(hour.rest.decay_mv_per_h)


def _state_of_charge(hour: Hour, limit: Limit) -> Seen:
    points = course(hour.result, capacity_of(hour.vehicle.battery))
    return Seen(points[-1].value) if points else NOTHING


def _days_to_no_start(hour: Hour, limit: Limit) -> Seen:
    if hour.engine.stand is None:
        return NOTHING
    capacity = capacity_of(hour.vehicle.battery)
    points = course(hour.result, capacity)
    lasts = days_to_no_start(present_drain(hour.result), points[-1] if points else None, capacity)
    return NOTHING if lasts is None else Seen(lasts.value)


def _net_balance(hour: Hour, limit: Limit) -> Seen:
    """Only over a window that was seen: a night alone always takes more out than in."""
    window_us = round((limit.window_s or 7 * DAY_S) * SECOND_US)
    since, t_us = hour.look.t_us - window_us, hour.look.t_us
    quarters = [f for f in hour.findings if isinstance(f, QuarterHour) and f.start >= since]
    quarters += hour.engine.quarters.flush()
    length_us = QUARTER_S * SECOND_US
    first = hour.engine.overview.state.first_us
    seen_us = sum(max(length_us - q.gap_us, 0) for q in quarters if q.counted)
    if first is None or first > since + length_us or seen_us < SEEN_SHARE * min(window_us, t_us - since):
        return NOTHING
    return Seen(sum(q.in_nc - q.out_nc for q in quarters) * AH_PER_NC)


def _gap_share(hour: Hour, limit: Limit) -> Seen:
    window_us = round((limit.window_s or DAY_S) * SECOND_US)
    since, seen = hour.look.t_us - window_us, hour.engine.overview.state
    if seen.first_us is None or seen.first_us > since:
        return NOTHING
    hidden = 0
    for start, end in reversed(seen.gaps):
        if end <= since:
            break
        hidden += end - max(start, since)
    return Seen(hidden / window_us)


def _resistance_rise(hour: Hour, limit: Limit) -> Seen:
    ohms = hour.ohms
    if len(ohms) < 2 * BASELINE_CRANKS:
        return NOTHING
    return Seen((median(ohms[-BASELINE_CRANKS:]) / median(ohms[:BASELINE_CRANKS]) - 1.0) * 100.0)


def note_ohms(ohms: list[float], look: Look) -> None:
    """Add the resistances of new cranks, as at 25 °C; the first and the last BASELINE_CRANKS are kept.

    Only where the temperature is known: a cold morning would be taken for wear.
    """
    known = [c for c in look.new_cranks if c.resistance_mohm is not None and c.celsius is not None]
    ohms += [(c.resistance_mohm or 0.0) / cold_factor(c.celsius) for c in known]
    del ohms[BASELINE_CRANKS : max(len(ohms) - BASELINE_CRANKS, BASELINE_CRANKS)]


HOURLY: dict[str, Callable[[Hour, Limit], Seen]] = {
    "rest_volts": _rest_volts,
    "decay": _decay,
    "state_of_charge": _state_of_charge,
    "days_to_no_start": _days_to_no_start,
    "net_balance": _net_balance,
    "gap_share": _gap_share,
    "resistance_rise": _resistance_rise,
}
