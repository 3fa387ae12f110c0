"""The bench: speed and memory of the whole command, as ratios measured in one run on one machine.

Writes its own logs (about 1.5 GB, deleted afterwards), prints a table, and keeps it as JSON in tests/bench/out/.
Exit code 1 when a bound is not kept.
"""

import argparse
import json
import os
import platform
import shutil
import sys
import tempfile
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from tests.bench import logs
from tests.bench.measure import PYTHON, in_turn, once, peak_mib, spread, wall_s

KEYOFF = str(Path(PYTHON).with_name("keyoff"))
OUT = Path(__file__).with_name("out")
WEEK, WEEKS = 7, 28  # days
START_TURNS = 25  # start-up is short and the machine is not quiet
STAGES = ("read", "read + admit", "engine", "all")

CSV_TIMES = 2.0  # bounds, from the project's requirements
PARQUET_TIMES = 4.0
PEAK_MIB = 200.0
GROWTH = 0.10
START_MS = 150.0


@dataclass(frozen=True)
class Line:
    """One line of the table; `kept` is whether the bound holds."""

    what: str
    value: float
    unit: str
    bound: str
    kept: bool
    detail: str


def at_most(what: str, value: float, unit: str, bound: float, detail: str) -> Line:
    return Line(what, value, unit, f"<= {bound:g}", value <= bound, detail)


def replay_of(log: Path) -> list[str]:
    return [KEYOFF, "replay", str(log), "--json"]


def read_of(log: Path) -> list[str]:
    return [PYTHON, "-m", "tests.bench.baselines", str(log)]


def check_reads_all(log: Path, days: int) -> None:
    """A run that reads less than all, or finds nothing, would be measured in vain."""
    found = json.loads(once(replay_of(log)).output)
    if found["log"]["samples"] != days * logs.DAY_ROWS or len(found["drives"]) != 2 * days:
        raise RuntimeError(f"{log.name}: {found['log']['samples']} samples, {len(found['drives'])} drives found")


def speed(folder: Path, times: int) -> list[Line]:
    text, parquet = logs.csv_of(folder, WEEK), logs.parquet_of(folder, WEEK)
    for log in (text, parquet):
        check_reads_all(log, WEEK)
    runs = in_turn(
        {"csv": replay_of(text), "read csv": read_of(text), "parquet": replay_of(parquet), "read parquet": read_of(parquet)},
        times,
    )
    lines = []
    for kind, bound in (("csv", CSV_TIMES), ("parquet", PARQUET_TIMES)):
        ours, theirs = runs[kind], runs[f"read {kind}"]
        detail = f"{wall_s(ours):.2f} s ({spread(ours)}) / {wall_s(theirs):.2f} s ({spread(theirs)})"
        lines.append(at_most(f"week, {kind}: replay / pyarrow's read", wall_s(ours) / wall_s(theirs), "x", bound, detail))
    for kind in ("csv", "parquet"):
        lines.append(at_most(f"week, {kind}: peak memory", peak_mib(runs[kind]), "MiB", PEAK_MIB, "highest of all runs"))
    return lines


def growth(folder: Path, times: int) -> list[Line]:
    """Peak memory of four weeks, and against that of one week."""
    week, weeks = logs.csv_of(folder, WEEK), logs.csv_of(folder, WEEKS)
    check_reads_all(weeks, WEEKS)
    runs = in_turn({"week": replay_of(week), "weeks": replay_of(weeks)}, times)
    one, four = peak_mib(runs["week"]), peak_mib(runs["weeks"])
    change = four / one - 1.0
    return [
        at_most("four weeks, csv: peak memory", four, "MiB", PEAK_MIB, f"{wall_s(runs['weeks']):.2f} s"),
        Line(
            "four weeks / one week: memory", 1.0 + change, "x", f"1 +- {GROWTH:g}", abs(change) <= GROWTH, f"one week {one:.0f} MiB"
        ),
    ]


def start_up() -> list[Line]:
    runs = in_turn({"keyoff": [KEYOFF, "--version"], "python": [PYTHON, "-c", "pass"]}, START_TURNS)
    ours, bare = (1000 * wall_s(runs[name]) for name in ("keyoff", "python"))
    return [at_most("keyoff --version - python -c pass", ours - bare, "ms", START_MS, f"{ours:.0f} - {bare:.0f} ms")]


def profile(folder: Path, times: int, hot: bool) -> dict[str, dict[str, float]]:
    """Seconds of each stage, medians; with `hot`, the functions that take them."""
    found: dict[str, dict[str, float]] = {}
    for log in (logs.csv_of(folder, WEEK), logs.parquet_of(folder, WEEK)):
        commands = {stage: [PYTHON, "-m", "tests.bench.stages", stage, str(log)] for stage in STAGES}
        runs = in_turn(commands, times)
        seconds = {stage: sorted(json.loads(run.output)["seconds"] for run in runs[stage]) for stage in STAGES}
        found[log.suffix] = {stage: walls[len(walls) // 2] for stage, walls in seconds.items()}
        for stage, median in found[log.suffix].items():
            say(f"{log.suffix[1:]:8} {stage:14} {median:6.2f} s  ({seconds[stage][0]:.2f}-{seconds[stage][-1]:.2f})")
        for stage in STAGES if hot else ():
            say(f"\n{log.suffix[1:]}, {stage}: hot spots\n{json.loads(once([*commands[stage], 'profile']).output)['hot']}")
    return found


def machine() -> dict[str, object]:
    model = "unknown"
    for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
        if line.startswith("model name"):
            model = line.partition(":")[2].strip()
            break
    return {
        "date": datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        "processor": model,
        "cores": os.cpu_count(),
        "load": os.getloadavg()[0],
        "python": platform.python_version(),
        "pyarrow": version("pyarrow"),
        "numpy": version("numpy"),
    }


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def table(lines: list[Line]) -> str:
    rows = [("what", "measured", "bound", "kept", "seconds, lowest-highest")]
    rows += [(x.what, f"{x.value:.2f} {x.unit}", x.bound, "yes" if x.kept else "NO", x.detail) for x in lines]
    widths = [max(len(row[i]) for row in rows) for i in range(4)]
    rows.insert(1, tuple("-" * w for w in [*widths, len(rows[0][4])]))
    return "\n".join("| " + " | ".join([*(c.ljust(w) for c, w in zip(row, widths, strict=False)), row[4]]) + " |" for row in rows)


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="tests/bench/run", description=__doc__.split("\n")[0])
    parser.add_argument("--dir", type=Path, help="write the logs there and leave them (default: a temporary folder)")
    parser.add_argument("--times", type=int, default=7, help="runs of each command, medians count (default %(default)s)")
    parser.add_argument("--week-only", action="store_true", help="leave out the four weeks")
    parser.add_argument("--profile", action="store_true", help="only the stages of a replay and their hot spots")
    return parser.parse_args()


def prepare(folder: Path, days: int) -> None:
    if not (logs.csv_of(folder, days).exists() and logs.parquet_of(folder, days).exists()):
        say(f"writing {days} days at 10 Hz")
        once([PYTHON, "-m", "tests.bench.logs", str(folder), str(days)])


def main() -> int:
    options = arguments()
    folder = options.dir or Path(tempfile.mkdtemp(prefix="keyoff-bench-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        prepare(folder, WEEK)
        if options.profile:
            profile(folder, options.times, hot=True)
            return 0
        lines = start_up() + speed(folder, options.times)
        if not options.week_only:
            prepare(folder, WEEKS)
            lines += growth(folder, 2)
    finally:
        if options.dir is None:
            shutil.rmtree(folder)
    about = machine()
    say(", ".join(f"{key} {value}" for key, value in about.items()))
    say(table(lines))
    OUT.mkdir(exist_ok=True)
    report = {"machine": about, "lines": [asdict(line) for line in lines]}
    (OUT / "bench.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    return 0 if all(line.kept for line in lines) else 1


if __name__ == "__main__":
    sys.exit(main())
