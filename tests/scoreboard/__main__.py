"""The scoreboard: `python -m tests.scoreboard --seed N --scenarios N --rates 0.2,1,10,50` prints the tables.

Logs of more than 10 Hz are long: there are a quarter as many of them, of one day.
"""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime

from monitor.simulate.draws import CAUSES
from tests.scoreboard.table import measured, tables, worst
from tests.scoreboard.trial import Trial, attempts

DAYS = 2.0
FAST_HZ, FAST_SHARE, FAST_DAYS = 10.0, 4, 1.0


def arguments() -> argparse.Namespace:
    today = datetime.now(UTC).date()
    parser = argparse.ArgumentParser(prog="python -m tests.scoreboard", description=__doc__)
    parser.add_argument("--seed", type=int, default=today.toordinal() * 1000, help="of the first log (default: date)")
    parser.add_argument("--scenarios", type=int, default=104, help="logs for each rate (default %(default)s)")
    parser.add_argument("--rates", default="0.2,1,10,50", help="Hz (default %(default)s)")
    parser.add_argument("--causes", default=",".join(CAUSES), help="(default %(default)s)")
    parser.add_argument("--days", type=float, default=DAYS, help="of each log (default %(default)s)")
    return parser.parse_args()


def main() -> int:
    options = arguments()
    causes = tuple(cause for cause in CAUSES if cause in options.causes.split(","))
    trials: list[Trial] = []
    for rate in (float(text) for text in options.rates.split(",")):
        fast = rate > FAST_HZ
        count = options.scenarios // FAST_SHARE if fast else options.scenarios
        days = FAST_DAYS if fast else options.days
        for trial in attempts(options.seed, count, rate, days, causes, change_points=True):
            trials.append(trial)
            if sys.stderr.isatty():
                sys.stderr.write(f"\r{rate:g} Hz: {len(trials)} logs")
    sys.stdout.write(tables(trials) + "\n\nWorst logs (cause, seed, how many events):\n\n" + worst(trials) + "\n")
    for rate in sorted({trial.rate_hz for trial in trials}):
        sys.stdout.write(f"\nMeasured, {rate:g} Hz, for measured.py:\n")
        for name, one in measured(t for t in trials if t.rate_hz == rate).items():
            sys.stdout.write(f'        "{name}": Measured({one.missed}, {one.judged}),\n')
        healthy = [t for t in trials if t.rate_hz == rate and t.cause == "healthy"]
        false = sum(1 for t in healthy if sum(t.false.values()))
        sys.stdout.write(f"FALSE_LOGS = Measured({false}, {len(healthy)})\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
