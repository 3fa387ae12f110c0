"""The bench: speed and memory of the whole command, as ratios measured in one run on one machine.

Two tables, as they stand in the README between their markers: recorded logs (replay), and the service (live; about 20
minutes, during which the machine should do little else). Writes its own logs (1.6 GB with the four weeks, deleted
afterwards), and keeps all as JSON in tests/bench/out/. Exit code 1 when a bound is not kept.
"""

import argparse
import json
import shutil
import statistics
import sys
import tempfile
from pathlib import Path

from tests.bench import logs
from tests.bench.measure import PYTHON, Run, cpu_s, in_turn, once, peak_mib, spread, usual_peak_mib, wall_s
from tests.bench.report import Line, at_most, keep, machine, marked

KEYOFF = str(Path(PYTHON).with_name("keyoff"))
WEEK, WEEKS = 7, 28  # days
START_TURNS = 25  # start-up is short and the machine is not quiet
STAGES = ("read", "read + admit", "engine", "all")

CSV_TIMES = 2.0  # bounds, from the project's requirements
PARQUET_TIMES = 4.0
PEAK_MIB = 200.0
GROWTH = 0.10
START_MS = 150.0


def replay_of(log: Path) -> list[str]:
    return [KEYOFF, "replay", str(log), "--json"]


def read_of(log: Path) -> list[str]:
    return [PYTHON, "-m", "tests.bench.baselines", str(log)]


def check_reads_all(log: Path, days: int) -> None:
    """A run that reads less than all, or finds nothing, would be measured in vain."""
    found = json.loads(once(replay_of(log)).output)
    samples, drives = found["log"]["samples"], len(found["drives"])
    if samples != days * logs.DAY_ROWS or drives != 2 * days:
        raise RuntimeError(f"{log.name}: {samples} samples of {days * logs.DAY_ROWS}, {drives} drives of {2 * days}")


def seconds(ours: list[Run], theirs: list[Run]) -> str:
    walls = f"{wall_s(ours):.2f} s ({spread(ours)}) / {wall_s(theirs):.2f} s ({spread(theirs)})"
    return f"{walls}; processor {cpu_s(ours):.2f} / {cpu_s(theirs):.2f} s"


def speed(folder: Path, times: int) -> list[Line]:
    files = {"csv": logs.csv_of(folder, WEEK), "parquet": logs.parquet_of(folder, WEEK)}
    commands: dict[str, list[str]] = {}
    for kind, log in files.items():
        check_reads_all(log, WEEK)
        commands |= {kind: replay_of(log), f"read {kind}": read_of(log)}
    runs = in_turn(commands, times)
    lines = []
    for kind, bound in (("csv", CSV_TIMES), ("parquet", PARQUET_TIMES)):
        ours, theirs = runs[kind], runs[f"read {kind}"]
        ratio = wall_s(ours) / wall_s(theirs)
        lines.append(at_most(f"week, {kind}: replay / pyarrow's read", ratio, "x", bound, seconds(ours, theirs)))
    for kind in files:
        read = peak_mib(runs[f"read {kind}"])
        detail = f"highest of all runs; pyarrow's read {read:.0f} MiB"
        lines.append(at_most(f"week, {kind}: peak memory", peak_mib(runs[kind]), "MiB", PEAK_MIB, detail))
    return lines


def growth(folder: Path, times: int) -> list[Line]:
    """Peak memory of four weeks, and against that of one week."""
    week, weeks = logs.csv_of(folder, WEEK), logs.csv_of(folder, WEEKS)
    check_reads_all(weeks, WEEKS)
    runs = in_turn({"week": replay_of(week), "weeks": replay_of(weeks)}, times)
    took = f"highest of all runs; {wall_s(runs['weeks']):.2f} s"
    # how threads meet moves a peak by some MiB from run to run: growth is judged by medians
    one, four = usual_peak_mib(runs["week"]), usual_peak_mib(runs["weeks"])
    within, detail = abs(four / one - 1.0) <= GROWTH, f"medians, {four:.0f} / {one:.0f} MiB"
    return [
        at_most("four weeks, csv: peak memory", peak_mib(runs["weeks"]), "MiB", PEAK_MIB, took),
        Line("four weeks / one week: peak memory", four / one, "x", f"1 ± {GROWTH:g}", within, detail),
    ]


def start_up() -> list[Line]:
    runs = in_turn({"keyoff": [KEYOFF, "--version"], "python": [PYTHON, "-c", "pass"]}, START_TURNS)
    ours, bare = (1000 * wall_s(runs[name]) for name in ("keyoff", "python"))
    return [at_most("keyoff --version - python -c pass", ours - bare, "ms", START_MS, f"{ours:.0f} - {bare:.0f} ms")]


def profile(log: Path, times: int) -> None:
    """Print the seconds of each stage, and the functions that take them."""
    commands = {stage: [PYTHON, "-m", "tests.bench.stages", stage, str(log)] for stage in STAGES}
    runs = in_turn(commands, times)
    kind = log.suffix.removeprefix(".")
    for stage in STAGES:
        walls = [json.loads(run.output)["seconds"] for run in runs[stage]]
        say(f"{kind:8} {stage:14} {statistics.median(walls):6.2f} s  ({min(walls):.2f}-{max(walls):.2f})")
    for stage in STAGES:
        hot = json.loads(once([*commands[stage], "profile"]).output)["hot"]
        say(f"\n{kind}, {stage}: hot spots of the main thread\n{hot}")


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="tests/bench/run", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--dir", type=Path, help="write the logs there and leave them (default: a temporary folder)")
    parser.add_argument("--times", type=int, default=7, help="runs of each command; medians count (default 7)")
    parser.add_argument("--week-only", action="store_true", help="leave out the four weeks")
    parser.add_argument("--only", choices=("replay", "service"), help="only this table")
    parser.add_argument("--quick", action="store_true", help="few and short runs: whether it works, not what it costs")
    parser.add_argument("--profile", action="store_true", help="only the stages of a replay, and their hot spots")
    return parser.parse_args()


def prepare(folder: Path, days: int) -> None:
    if not (logs.csv_of(folder, days).exists() and logs.parquet_of(folder, days).exists()):
        say(f"writing {days} days at 10 Hz")
        once([PYTHON, "-m", "tests.bench.logs", str(folder), str(days)])


def main() -> int:
    options = arguments()
    about = machine()
    tables: dict[str, list[Line]] = {}
    if options.only != "service":
        tables["bench table"] = replays(options)
    if options.only != "replay" and not options.profile:
        tables["service bench table"] = live(options.quick)
    if options.profile:
        return 0
    say("\n".join(f"{key}: {value}" for key, value in about.items()))
    for name, lines in tables.items():
        say(marked(name, lines))
    every = [line for lines in tables.values() for line in lines]
    say(f"kept in {keep(about, every)}")
    return 0 if all(line.kept for line in every) else 1


def live(quick: bool) -> list[Line]:
    """What the service costs, and how fast a database server is caught up."""
    from tests.bench import forwarding, service

    lines = list(service.measured(service.QUICK if quick else service.Lengths()))
    with tempfile.TemporaryDirectory(prefix="keyoff-bench-") as folder:
        if shutil.which("victoria-metrics") is None:
            say("catching up is not measured: apt install victoria-metrics")
        else:
            lines += forwarding.measured(Path(folder), *((1.0, 1) if quick else (6.0, 7)))
    return lines


def replays(options: argparse.Namespace) -> list[Line]:
    """What a replay costs."""
    if options.quick:
        options.times, options.week_only = 1, True
    folder = options.dir or Path(tempfile.mkdtemp(prefix="keyoff-bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        prepare(folder, WEEK)
        if options.profile:
            for log in (logs.csv_of(folder, WEEK), logs.parquet_of(folder, WEEK)):
                profile(log, options.times)
            return []
        lines = start_up() + speed(folder, options.times)
        if not options.week_only:
            prepare(folder, WEEKS)
            lines += growth(folder, 5)
    finally:
        if options.dir is None:
            shutil.rmtree(folder)
    return lines


if __name__ == "__main__":
    sys.exit(main())
