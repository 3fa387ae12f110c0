"""How fast a backlog is caught up: the forwarder on a real journal, against the client's bare write of the same lines.

`python -m tests.bench.forwarding`. Both write the same batches to one VictoriaMetrics on this machine, in turn, through
the same client; the bare side has its lines ready in memory. What influxdb-client needs for the same points as its own
Point objects stands beside it. The forwarder reads and computes while the server works, which takes a processor of its
own: on a machine that is busy otherwise the ratio says little. Exit code 1 when the bound is not kept.
"""

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

from monitor.base.vehicle import Vehicle
from monitor.store.entries import Cursor, Entry, Page
from monitor.store.forward_backlog import CURSOR, Step
from monitor.store.forward_server import Answer, DatabaseServer
from monitor.store.forwarder import Forwarder
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.bench.report import Line, machine, table
from tests.live.servers import VictoriaMetrics
from tests.store.forwarding import block, cut, drain, van

RATIO = 0.7  # from the project's requirements
BOUND = "samples in full"  # the others read ten samples and more for each point they send
RATE_HZ = 10.0
SETTINGS: dict[str, dict[str, object]] = {
    "seconds and 10 s samples (default)": {},
    "10 s samples": {"seconds": False},
    "samples in full": {"samples": "full", "seconds": False},
}


class Afresh:
    """The journal's reader, with a cursor that always stands at the beginning."""

    def __init__(self, home: Home) -> None:
        self.reader = JournalReader(home)

    def cursor(self, name: str) -> Cursor:
        return Cursor(name, 0, None, 0, 0, 0)

    def page(self, after: int, limit: int, together: bool = False) -> Page:
        return self.reader.page(after, limit, together)

    def close(self) -> None:
        self.reader.close()


class Listening:
    """Keeps the batches as they are sent, and accepts them."""

    name = "memory"

    def __init__(self) -> None:
        self.batches: list[list[str]] = []

    def write(self, lines: Sequence[str]) -> Answer:
        self.batches.append(list(lines))
        return Answer("accepted")

    def close(self) -> None:
        pass


def forward(home: Home, journal: Journal, vehicle: Vehicle, server: Any) -> None:
    """All of the journal; its cursor moved for each page as the service does, by the thread that writes the journal."""
    backlog = Afresh(home)
    with ThreadPoolExecutor(1, "keeper") as keeper:
        moves: list[Future[None]] = []

        def move(step: Step) -> None:
            moves.append(keeper.submit(journal.move, CURSOR, step.position, step.lost, step.state, step.rejected))

        drain(Forwarder(vehicle, lambda: backlog, move, server=server))
        for moved in moves:
            moved.result()
    backlog.close()


def took_s(work: Callable[[], None]) -> tuple[float, float]:
    """Wall-clock seconds, and this process's own processor seconds."""
    began, worked = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - began, time.process_time() - worked


def as_points(batches: Sequence[Sequence[str]]) -> list[list[Any]]:
    """The same points as the client's own objects."""
    import influxdb_client

    made = []
    for lines in batches:
        points = []
        for line in lines:
            series, fields, at = line.replace("\\ ", "\0").split(" ")
            measurement, *tags = series.replace("\\,", "\1").split(",")
            one = influxdb_client.Point(measurement).time(int(at), "us")
            for tag in tags:
                key, value = tag.split("=")
                one.tag(key, value.replace("\0", " ").replace("\1", ","))
            for field in fields.split(","):
                key, value = field.split("=")
                one.field(key, float(value))
            points.append(one)
        made.append(points)
    return made


def measured(folder: Path, hours: float, times: int) -> list[Line]:
    server = VictoriaMetrics(folder)
    server.start()
    home = Home(folder / "van")
    journal = Journal(home)
    for piece in cut(block(0, round(hours * 3600 * RATE_HZ), RATE_HZ), [round(RATE_HZ)]):
        journal.commit(Entry(block=piece))
    lines = []
    try:
        for what, settings in SETTINGS.items():
            vehicle = van(url=server.url, **settings)
            assert vehicle.database is not None
            heard = Listening()
            forward(home, journal, vehicle, heard)
            sent = sum(len(batch) for batch in heard.batches)
            writer = DatabaseServer(vehicle.database)
            points = as_points(heard.batches[:4])
            share = sum(len(batch) for batch in heard.batches[:4]) / sent

            def bare(batches: Sequence[Sequence[str]] = heard.batches, writer: DatabaseServer = writer) -> None:
                for batch in batches:
                    assert writer.write(batch).meaning == "accepted"

            def ours(vehicle: Vehicle = vehicle, writer: DatabaseServer = writer) -> None:
                forward(home, journal, vehicle, writer)

            def objects(points: list[list[Any]] = points, writer: DatabaseServer = writer) -> None:
                for batch in points:
                    writer._write.write("keyoff", "", batch, write_precision="us")

            runs: dict[str, list[tuple[float, float]]] = {"bare": [], "ours": [], "objects": []}
            for turn in range(times + 1):
                for name, work in (("bare", bare), ("ours", ours), ("objects", objects)):
                    took = took_s(work)
                    if turn:
                        runs[name].append(took)
            (bare_s, bare_cpu_s), (ours_s, ours_cpu_s), (objects_s, _) = (
                [statistics.median(side) for side in zip(*runs[name], strict=True)] for name in runs
            )
            objects_s /= share
            detail = f"{sent:,} points; {sent / ours_s:,.0f} / {sent / bare_s:,.0f} points/s"
            detail += (
                f"; the client's own objects {sent / objects_s:,.0f}; a day in {86_400 / (hours * 3600) * ours_s:.1f} s"
            )
            detail += f"; our processor {ours_cpu_s:.2f} / {bare_cpu_s:.2f} s"
            ratio = bare_s / ours_s
            bound, kept = (f">= {RATIO:g}", ratio >= RATIO) if what == BOUND else ("none", True)
            lines.append(Line(f"catch-up / bare write, {what}", ratio, "x", bound, kept, detail))
            writer.close()
    finally:
        journal.close()
        server.end()
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(prog="tests.bench.forwarding", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--hours", type=float, default=6.0, help="length of the backlog at 10 Hz (default 6)")
    parser.add_argument("--times", type=int, default=7, help="runs of each; medians count (default 7)")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="keyoff-bench-") as folder:
        lines = measured(Path(folder), options.hours, options.times)
    sys.stdout.write("\n".join(f"{key}: {value}" for key, value in machine().items()) + "\n" + table(lines) + "\n")
    return 0 if all(line.kept for line in lines) else 1


if __name__ == "__main__":
    sys.exit(main())
