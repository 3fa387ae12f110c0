"""Where the time goes: one stage of a replay alone, in a process of its own, with or without the profiler.

`python -m tests.bench.stages STAGE FILE [profile]` prints one JSON object: seconds, rows, and the hot spots.
The profiler sees the main thread only; what a reading thread does counts as waiting there.
"""

import cProfile
import io
import json
import pstats
import sys
import time
from collections.abc import Callable
from pathlib import Path

SHOWN = 25  # functions in a list of hot spots


def read(log: Path) -> Callable[[], int]:
    """The rows as the file's own reader gives them, before any is judged."""
    from monitor.base.vehicle import LogSettings
    from monitor.sources.files import expand, kind_of

    found = expand([log])[0]
    kind = kind_of(found)
    if kind == "text":
        from monitor.sources.delimited import DelimitedLog

        reader = DelimitedLog(found, LogSettings())
        return lambda: sum(len(rows.t_us) for rows in reader.rows())
    from monitor.sources.columnar import ColumnarLog

    assert kind != "senml"
    columnar = ColumnarLog(found, kind, LogSettings())
    return lambda: sum(len(rows.t_us) for rows in columnar.rows())


def admit(log: Path) -> Callable[[], int]:
    """Reading, and what follows until samples flow: refusals, order, duplicates, joining."""
    from monitor.base.vehicle import LogSettings
    from monitor.sources import open_logs

    recorded = open_logs([log], LogSettings())
    return lambda: sum(len(block) for block in recorded.blocks())


def engine(log: Path) -> Callable[[], int]:
    """The detectors alone, on samples that are in memory already."""
    from monitor.base.ledger import Ledger
    from monitor.base.vehicle import LogSettings
    from monitor.detect import Facts, replay
    from monitor.sources import open_logs

    blocks = list(open_logs([log], LogSettings()).blocks())

    def detect() -> int:
        replay(blocks, Ledger(), Facts())
        return sum(len(block) for block in blocks)

    return detect


def replay_all(log: Path) -> Callable[[], int]:
    """All of it, but for start-up and output."""
    from monitor.base.vehicle import LogSettings
    from monitor.detect import Facts, replay
    from monitor.sources import open_logs

    def whole() -> int:
        recorded = open_logs([log], LogSettings())
        return replay(recorded.blocks(), recorded.ledger, Facts()).log.samples

    return whole


STAGES = {"read": read, "read + admit": admit, "engine": engine, "all": replay_all}


def main(stage: str, log: Path, profiled: bool) -> str:
    work = STAGES[stage](log)
    profile = cProfile.Profile()
    began = time.perf_counter()
    rows = profile.runcall(work) if profiled else work()
    seconds = time.perf_counter() - began
    hot = ""
    if profiled:
        text = io.StringIO()
        pstats.Stats(profile, stream=text).sort_stats("tottime").print_stats(SHOWN)
        hot = text.getvalue()
    return json.dumps({"seconds": seconds, "rows": rows, "hot": hot})


if __name__ == "__main__":
    sys.stdout.write(main(sys.argv[1], Path(sys.argv[2]), "profile" in sys.argv[3:]))
