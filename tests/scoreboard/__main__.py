"""The scoreboard: `python -m tests.scoreboard --seed N --scenarios N --rates 0.2,1,10,50` prints the tables.

Fast logs are long: from 10 Hz on they are of one day, above 10 Hz there are a quarter as many. `--write` puts the
tables into DEVELOPERS.md and the ground of the bars into measured.py, for all rates and causes.
"""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime

from monitor.simulate.draws import CAUSES
from tests.scoreboard.record import write
from tests.scoreboard.table import tables, worst
from tests.scoreboard.trial import HEALTHY_AFTER, Trial, attempts, days_at

FAST_HZ, FAST_SHARE = 10.0, 4
HEALTHY_LOGS = 40


def arguments() -> argparse.Namespace:
    today = datetime.now(UTC).date()
    parser = argparse.ArgumentParser(prog="python -m tests.scoreboard", description=__doc__)
    parser.add_argument("--seed", type=int, default=today.toordinal() * 1000, help="of the first log (default: date)")
    parser.add_argument("--scenarios", type=int, default=104, help="logs for each rate (default %(default)s)")
    parser.add_argument("--rates", default="0.2,1,10,50", help="Hz (default %(default)s)")
    parser.add_argument("--causes", default=",".join(CAUSES), help="(default %(default)s)")
    parser.add_argument("--write", action="store_true", help="write down what was measured")
    return parser.parse_args()


def main() -> int:
    options = arguments()
    causes = tuple(cause for cause in CAUSES if cause in options.causes.split(","))
    trials: list[Trial] = []
    for rate in (float(text) for text in options.rates.split(",")):
        count = options.scenarios // FAST_SHARE if rate > FAST_HZ else options.scenarios
        for trial in attempts(options.seed, count, rate, days_at(rate), causes, change_points=True):
            trials.append(trial)
            if sys.stderr.isatty():
                sys.stderr.write(f"\r{rate:g} Hz: {len(trials)} logs")
    sys.stdout.write(tables(trials) + "\n\nWorst logs (cause, seed, how many events):\n\n" + worst(trials) + "\n")
    if options.write:
        healthy = list(attempts(options.seed + HEALTHY_AFTER, HEALTHY_LOGS, 1.0, days_at(1.0), ("healthy",)))
        write(trials, healthy, f"{datetime.now(UTC):%Y-%m-%d}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
