"""The verdict scoreboard: `python -m tests.scoreboard.verdicts --seed N --scenarios N` prints the confusion matrix.

Each drawn scenario is replayed twice, with its current and with volts alone. What is true, and whether the log can
carry it, is decided from the scenario and the simulator's own truth, never from the result:

    drain       the true mean of a rest of two hours asleep, wake-ups included and visits not, is over 1.2 times the
                limit; below 0.85 times it is no fault and the vehicle is sound; between, "borderline": drain, sound and
                undetermined are all right
    battery     carried where the true cranks (two or more, 1 Hz or faster, with current) show 1.5 to 2 times the
                resistance of a new battery, or where a shorted cell lies between two rests
    charging    carried where a drive of ten minutes has a fault that the logger can show: ripple from 10 Hz without
                averaging, hunting in two drives from 1 Hz, overvoltage always, any other with current from 1 Hz
    usage       carried with current, three drives, a day and a rest of six hours
    connection  carried with current at 1 Hz or faster and two true cranks of 2.5 times a new battery or more
    sound       carried with current at 1 Hz or faster, a rest of two hours asleep, a drive of ten minutes, two cranks

Where the log cannot carry the fault, `undetermined` is right, the true cause is welcome, and another cause is wrong;
"sound" for a fault the log does not show is counted apart, as `unseen`.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median

from monitor.assess.verdict import judge
from monitor.base.ledger import Ledger
from monitor.base.results import Drive, Result, Stand, WakeUp
from monitor.base.samples import Block
from monitor.base.vehicle import Battery, Vehicle
from monitor.detect import Facts, replay
from monitor.simulate import Scenario, run
from monitor.simulate.draws import CAUSES, Cause, draw_scenario

VERDICTS = ("sound", "drain", "battery", "charging", "usage", "connection", "undetermined")
LENGTHS = ((1.0, 2.0), (1.0, 0.5), (1.0, 1.0), (0.2, 3.0), (1.0, 3.0), (0.2, 7.0), (10.0, 0.5), (1.0, 2.0))  # Hz, days
OVER, UNDER = 1.2, 0.85  # of the limit
LIMIT_A, TELEMATICS_A, FOR_AH = 0.050, 0.080, 60.0  # published limits, as in monitor/assess/why_drain.py
NEW_MOHM = {
    "flooded": 6.0,
    "efb": 5.4,
    "agm": 3.3,
    "gel": 7.2,
    "lifepo4": 3.6,
}  # of 65 Ah, as in monitor/assess/seen.py
VISIT_LASTS = 2.0  # a visit's own small shutdown follows it
HOUR_US = 3_600_000_000
BLOCK = 65536
UNKNOWN = "undetermined"


@dataclass(frozen=True, slots=True)
class Trial:
    """One log and its verdict; `truth` is the right one, `carried` whether the log can carry it."""

    cause: Cause
    seed: int
    rate_hz: float
    days: float
    has_amps: bool
    truth: str
    carried: bool
    verdict: str

    @property
    def outcome(self) -> str:
        """`right`, `undetermined`, `unseen` (sound, where the log does not show the fault), `wrong`."""
        if self.verdict == self.truth or (self.truth == "borderline" and self.verdict in ("drain", "sound", UNKNOWN)):
            return "right"
        if self.verdict == "undetermined":
            return "undetermined"
        return "unseen" if self.verdict == "sound" and not self.carried else "wrong"


def attempts(first_seed: int, count: int, lengths: Sequence[tuple[float, float]] = LENGTHS) -> Iterator[Trial]:
    """So many scenarios, two trials of each: the causes in turn, each eight with the next rate and length."""
    for number in range(count):
        rate, days = lengths[number // len(CAUSES) % len(lengths)]
        yield from attempt(first_seed + number, CAUSES[number % len(CAUSES)], rate, days)


def attempt(seed: int, cause: Cause, rate_hz: float, days: float) -> Iterator[Trial]:
    """Draw, simulate, replay with current and without, judge."""
    scenario = draw_scenario(seed, cause, rate_hz=rate_hz, days=days)
    simulation = run(scenario)
    battery = scenario.battery
    vehicle = Vehicle(battery=Battery(kind=battery.kind, nominal_v=battery.nominal, capacity_ah=battery.capacity))
    blocks = list(simulation.blocks(BLOCK))
    for has_amps in (True, False):
        kept = blocks if has_amps else [Block(b.t_us, b.volts, None, b.celsius) for b in blocks]
        found = assessed(replay(kept, Ledger(), Facts.of(vehicle)), vehicle)
        truth, carried = true_verdict(scenario, simulation.truth, cause, has_amps)
        yield Trial(cause, seed, rate_hz, days, has_amps, truth, carried, judge(found, vehicle).cause)


def assessed(result: Result, vehicle: Vehicle) -> Result:
    """With everything else that is assessed, as `keyoff replay` does it."""
    from monitor.assess import assess

    return assess(result, vehicle, UTC)


def true_verdict(scenario: Scenario, truth: Result, cause: Cause, has_amps: bool) -> tuple[str, bool]:
    """The right verdict, and whether the log can carry it."""
    rate = scenario.logger.rate
    sharp = has_amps and rate >= 0.9
    times_new = _times_new(scenario, truth)
    drives = [drive for drive in truth.drives if _length_h(drive, truth) >= 1 / 6]
    share = _drain_share(scenario, truth)
    if cause in ("drain", "wakeups", "stuck") and share is not None and share >= UNDER:
        return ("drain", has_amps) if share > OVER else ("borderline", False)
    if cause == "battery":
        by_crank = sharp and len(times_new) >= 2 and 1.5 <= median(times_new) <= 2.0
        return "battery", by_crank or _cell_between_rests(scenario, truth)
    if cause == "charging":
        return "charging", _charging_shows(scenario, len(drives), sharp)
    if cause == "usage":
        rests = [stand for stand in truth.stands if _length_h(stand, truth) >= 6]
        return "usage", has_amps and len(truth.drives) >= 3 and scenario.days >= 1 and bool(rests)
    if cause == "connection":
        return "connection", sharp and len(times_new) >= 2 and median(times_new) >= 2.5
    return "sound", sharp and share is not None and bool(drives) and len(times_new) >= 2


def _length_h(part: Stand | Drive, truth: Result) -> float:
    end = part.end if part.end is not None else truth.log.last
    return (end - part.start) / HOUR_US if end is not None else 0.0


def _drain_share(scenario: Scenario, truth: Result) -> float | None:
    """Highest true mean of a rest over its limit, visits and the last minutes left out; None without such a rest."""
    first = truth.log.first or 0
    visits = [(first + int(v.at * 1e6), first + int((v.at + VISIT_LASTS * v.duration) * 1e6)) for v in scenario.visits]
    normal = all(w.duration <= 60 and (w.every or 0.0) >= 540 for w in scenario.wake_ups) and bool(scenario.wake_ups)
    size = max(1.0, scenario.battery.capacity / FOR_AH) if scenario.battery.nominal > 12 else 1.0
    shares = []
    for stand in truth.stands:
        end = stand.end if stand.end is not None else truth.log.last
        if stand.settled_at is None or stand.sleep_current_a is None or end is None:
            continue
        asleep_h = (end - stand.settled_at) / HOUR_US
        if asleep_h >= 2:
            level = _true_level(stand)
            drawn = sum(wake.charge_ah for wake in stand.wake_ups if not _overlaps(wake, visits))
            limit = TELEMATICS_A if normal and level <= LIMIT_A * size else LIMIT_A
            shares.append((level + drawn / asleep_h) / (limit * size))
    return max(shares) if shares else None


def _overlaps(wake: WakeUp, spans: list[tuple[int, int]]) -> bool:
    return any(wake.start < end and start < wake.end for start, end in spans)


def _true_level(stand: Stand) -> float:
    lengths = [plateau.end - plateau.start for plateau in stand.plateaus]
    if not sum(lengths):
        return stand.sleep_current_a or 0.0
    return sum(-p.amps * length for p, length in zip(stand.plateaus, lengths, strict=True)) / sum(lengths)


def _times_new(scenario: Scenario, truth: Result) -> list[float]:
    battery = scenario.battery
    new = NEW_MOHM[battery.kind] * 65.0 / battery.capacity * battery.nominal / 12.0
    cranks = [drive.crank for drive in truth.drives if drive.crank is not None]
    return [crank.resistance_mohm / new for crank in cranks if crank.resistance_mohm is not None]


def _cell_between_rests(scenario: Scenario, truth: Result) -> bool:
    """A cell shorts after one rest of four hours has ended and before another begins."""
    cell = scenario.battery.shorted_cell
    if cell is None or truth.log.first is None:
        return False
    at = truth.log.first + int(cell.after * 1e6)
    rests = [stand for stand in truth.stands if _length_h(stand, truth) >= 4 and stand.settled_at is not None]
    return any((s.end or 0) < at for s in rests if s.end) and any(s.start > at for s in rests)


def _charging_shows(scenario: Scenario, drives: int, sharp: bool) -> bool:
    fault, logger = scenario.alternator.fault, scenario.logger
    if fault == "ripple":
        return drives >= 1 and logger.rate >= 10 and not logger.averaging
    if fault == "unstable":
        return drives >= 2 and sharp
    if fault == "overvoltage":
        return drives >= 1
    return drives >= 1 and sharp


def matrix(trials: Sequence[Trial]) -> str:
    """The confusion matrix and the rates, as a table in Markdown."""
    lines = []
    for title, chosen in (
        ("With current, where the log can carry a verdict", [t for t in trials if t.has_amps and t.carried]),
        ("With current, where it cannot", [t for t in trials if t.has_amps and not t.carried]),
        ("Volts alone", [t for t in trials if not t.has_amps]),
    ):
        lines += [f"{title} ({len(chosen)} logs):", "", "| drawn: truth | " + " | ".join(VERDICTS) + " |"]
        lines.append("|---|" + "--:|" * len(VERDICTS))
        for drawn in CAUSES:
            for truth in dict.fromkeys(("sound", *VERDICTS, "borderline")):
                row = [t for t in chosen if t.cause == drawn and t.truth == truth]
                if row:
                    counts = Counter(t.verdict for t in row)
                    lines.append(f"| {drawn}: {truth} | " + " | ".join(str(counts[v] or "") for v in VERDICTS) + " |")
        outcomes = Counter(t.outcome for t in chosen)
        lines += [
            "",
            ", ".join(f"{name} {outcomes[name]}" for name in ("right", "undetermined", "unseen", "wrong")),
            "",
        ]
    return "\n".join(lines)


def accused(trials: Sequence[Trial]) -> list[Trial]:
    """Sound vehicles with a cause named."""
    return [t for t in trials if t.truth == "sound" and t.verdict not in ("sound", "undetermined")]


def _eight(task: tuple[int, tuple[float, float]]) -> list[Trial]:
    seed, length = task
    return list(attempts(seed, len(CAUSES), [length]))


def main() -> int:
    """Print the matrix."""
    today = datetime.now(UTC).date()
    parser = argparse.ArgumentParser(prog="python -m tests.scoreboard.verdicts", description=__doc__)
    parser.add_argument("--seed", type=int, default=today.toordinal() * 1000 + 500, help="of the first scenario")
    parser.add_argument("--scenarios", type=int, default=208, help="(default %(default)s)")
    parser.add_argument("--workers", type=int, default=1, help="processes (default %(default)s)")
    options = parser.parse_args()
    starts = range(0, options.scenarios, len(CAUSES))  # eight scenarios of one rate and length at a time
    with ProcessPoolExecutor(options.workers) as pool:
        done = pool.map(_eight, [(options.seed + n, LENGTHS[n // len(CAUSES) % len(LENGTHS)]) for n in starts])
        trials = [trial for eight in done for trial in eight]
    sys.stdout.write(f"Seed {options.seed}, {options.scenarios} scenarios, {today}\n\n{matrix(trials)}\n")
    for trial in trials:
        if trial.outcome == "wrong" or (trial.carried and trial.outcome != "right"):
            sys.stdout.write(f"{trial}\n")
    sys.stdout.write(f"Sound vehicles accused: {len(accused(trials))}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
