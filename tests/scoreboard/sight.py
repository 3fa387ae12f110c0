"""What a log of a scenario can show at all: every exclusion of the scoreboard, from the scenario and its truth alone.

Nothing here looks at what was found. Each rule has its reason, and the table's legend repeats it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, sqrt

from monitor.base.results import Crank, Drive, LevelStep, Plateau, Stand, WakeUp
from monitor.base.samples import SECOND_US
from monitor.detect.charging_limits import NO_CHARGE_BINS, START_LEFT_OUT_S
from monitor.detect.held import AWAKE_A, AWAKE_S, ESTABLISH_S, LOADED_A, LOADED_S
from monitor.simulate import Simulation
from monitor.simulate.scenario import Pulses, Scenario

LEAST_WAKE_S, LEAST_WAKE_A, LEAST_SIGMAS = 2.0, 0.010, 4.0  # wake-ups that must be found, from the requirements
CRANK_SHARE = 0.25  # an averaging logger shows a crank of a quarter of its interval as a quarter of its current
CARRIED_INTERVALS = 3  # a crank of fewer sampling intervals has no length in the log
FAULT_LEAST_S = START_LEFT_OUT_S + 60.0 * NO_CHARGE_BINS  # the charging detector's stated warm-up
RIPPLE_LEAST_HZ, HUNTING_LEAST_HZ = 5.0, 1.0  # stated by the charging detector; hunting turns every 1–5 s

LEGEND = (
    "A window of 5 s means 5 s and one sampling interval: a log cannot place an event between two samples.",
    "Approach (unlocking to crank): neither sleep nor a wake-up that ends; findings inside it are not scored.",
    "Settling and sleep current: not judged where the vehicle slept, wake-ups not counted, for less than the engine's "
    "stated warm-up at that level (3 min; 20 min above 0.1 A; 1 h above 1 A), nor where it never fell asleep: until "
    "then a long stage of the shutdown is the same thing.",
    "Sleep current: the logger's zero offset is added back, since no log can show it.",
    "Wake-ups: must be found from 2 s (and two sampling intervals: a shorter one can fall between samples) and from "
    "max(10 mA, 4 sigma), sigma the spread of the readings asleep (noise, resolution, and the pulses that a logger "
    "without averaging meets by chance). Smaller ones count neither when found nor when missed.",
    "Wake-up charge: beyond 3 % what sampling leaves open is allowed: 4 sigma / sqrt(n) of the excess, and one "
    "sampling interval of the length for a logger that does not average.",
    "Level steps: must be found from max(10 mA, 4 sigma), between levels that each lasted their warm-up.",
    "Cranks and failed starts: need not be found where a logger without averaging can sample before and after them "
    "(shorter than one interval), nor where an averaging one spreads them over more than four times their length.",
    "Crank length: judged from three sampling intervals on. volts_min is the lowest reading; how far the log's lowest "
    "reading lies above the true minimum is shown (12 V system), and depends on the logger alone.",
    "Charge: in % of all that flowed in that stand or drive, beyond 2 % one sampling interval of starter or key-on "
    "current. A logger without averaging counts the alternator's ripple both in and out: its net is right, the sides "
    "are not. A slow one averages both sides away.",
    "Faults: judged in drives of the detector's warm-up (7 min) or longer; ripple from 5 Hz without averaging, "
    "hunting from 1 Hz; further words on a drive that has a fault are not counted. An invented fault always counts.",
    "Regulation: judged in drives without fault of 7 min or longer; `fixed` for a compensated one agrees, since the "
    "air hardly changes in one drive, and for a managed one that never let go in that drive (frost).",
)


@dataclass(frozen=True, slots=True)
class Sight:
    """What can be seen; times in µs where the name does not say otherwise."""

    scenario: Scenario
    last: int
    approaches: list[tuple[int, int]]
    interval_s: float
    sigma_a: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "sigma_a", spread_asleep_a(self.scenario))

    @staticmethod
    def of(simulation: Simulation) -> Sight:
        """The sight of one simulated log."""
        last = simulation.truth.log.last
        assert last is not None  # a simulated log has samples
        spans = [(span.start, span.end) for span in simulation.approaches]
        return Sight(simulation.scenario, last, spans, 1.0 / simulation.scenario.logger.rate)

    def window_us(self, seconds: float) -> int:
        """An acceptance window: so long, and one sampling interval."""
        return ceil((seconds + self.interval_s) * SECOND_US)

    def in_approach(self, at: int) -> bool:
        """Whether an instant lies between unlocking and crank; a sample's interval before it counts as inside."""
        early = ceil(self.interval_s * SECOND_US) + SECOND_US  # summaries are of whole seconds
        return any(a - early <= at < b for a, b in self.approaches)

    def asleep_until(self, stand: Stand) -> int:
        """End of the part of a stand in which the vehicle may sleep."""
        end = self.last if stand.end is None else stand.end
        return next((a for a, b in self.approaches if b == end), end)

    def slept_enough(self, stand: Stand, plateau: Plateau) -> bool:
        """Whether a true plateau lasted the warm-up at its level, wake-ups not counted."""
        end = min(plateau.end, self.asleep_until(stand))
        awake = sum(max(0, min(w.end, end) - max(w.start, plateau.start)) for w in stand.wake_ups)
        drain = -plateau.amps
        needed = ESTABLISH_S if drain <= AWAKE_A else AWAKE_S if drain <= LOADED_A else LOADED_S
        return (end - plateau.start - awake) / SECOND_US >= needed

    def owes_wake_up(self, wake: WakeUp) -> bool:
        """Whether this wake-up must be found."""
        long_enough = seconds(wake) >= max(LEAST_WAKE_S, 2 * self.interval_s)
        return long_enough and wake.excess_a >= max(LEAST_WAKE_A, LEAST_SIGMAS * self.sigma_a)

    def charge_allowed(self, wake: WakeUp, share: float) -> float:
        """Relative error of a wake-up's charge: the share asked for, and what sampling leaves open."""
        samples = max(1.0, seconds(wake) / self.interval_s)
        edge = 0.0 if self.scenario.logger.averaging else self.interval_s / seconds(wake)
        return share + LEAST_SIGMAS * self.sigma_a / wake.excess_a / sqrt(samples) + edge

    def owes_step(self, stand: Stand, step: LevelStep) -> bool:
        """Whether this level step must be found."""
        if abs(step.to_a - step.from_a) < max(LEAST_WAKE_A, LEAST_SIGMAS * self.sigma_a):
            return False
        beside = [p for p in stand.plateaus if step.at in (p.start, p.end)]
        return len(beside) == 2 and all(self.slept_enough(stand, p) for p in beside)

    def owes_crank(self, crank: Crank) -> bool:
        """Whether the samples must hold this crank."""
        assert crank.duration_s is not None  # the truth knows
        return crank.duration_s >= self.interval_s * (CRANK_SHARE if self.scenario.logger.averaging else 1.0)

    def carries_length(self, crank: Crank) -> bool:
        """Whether the samples carry this crank's length."""
        assert crank.duration_s is not None  # the truth knows
        return crank.duration_s >= CARRIED_INTERVALS * self.interval_s

    def warms_up(self, drive: Drive) -> bool:
        """Whether a drive is as long as the charging detector's warm-up."""
        end = self.last if drive.end is None else drive.end
        return (end - drive.start) / SECOND_US >= FAULT_LEAST_S

    def named(self, drive: Drive) -> set[str]:
        """Words that are right for the regulation of this drive."""
        kind = drive.charging.regulation
        held = not {"reduced", "overrun"} & {phase.phase for phase in drive.charging.phases}
        return {kind, "fixed"} if kind == "compensated" or (kind == "managed" and held) else {kind}

    def shows_fault(self, fault: str) -> bool:
        """Whether this kind of logger can show this kind of fault."""
        logger = self.scenario.logger
        if fault == "ripple":
            return logger.rate >= RIPPLE_LEAST_HZ and not logger.averaging
        return fault != "unstable" or logger.rate >= HUNTING_LEAST_HZ


def seconds(span: WakeUp) -> float:
    """Length of a wake-up, s."""
    return (span.end - span.start) / SECOND_US


def spread_asleep_a(scenario: Scenario) -> float:
    """Standard deviation of single readings of a sleeping vehicle, A: noise, resolution, and pulses caught or not."""
    logger, vehicle = scenario.logger, scenario.vehicle
    variance = logger.amps_noise**2 + logger.amps_resolution**2 / 12
    for pulses in (vehicle.lamp_flash, vehicle.polling):
        if pulses is not None:
            variance += _pulses_variance(pulses, 1.0 / logger.rate, logger.averaging)
    return sqrt(variance)


def _pulses_variance(pulses: Pulses, interval_s: float, averaging: bool) -> float:
    """A² that pulses add: a reading meets one by chance, or averages a number of them that differs by one."""
    if not averaging:
        caught = pulses.width / pulses.period
        return pulses.amps**2 * caught * (1 - caught)
    one = pulses.amps * min(pulses.width, interval_s) / interval_s
    caught = min(interval_s / pulses.period, 0.5)
    return one**2 * caught * (1 - caught)
