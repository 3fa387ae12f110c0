"""What a vehicle weighs on a database server: points a day, requests' bytes a day and bytes on the server's disk.

`python -m tests.bench.fleet_size`: simulated days of one car at 10 Hz, forwarded under each setting to a server of its
own (VictoriaMetrics), whose data folder is weighed after it has stopped; the weight of half the days is taken off, so
that what a server weighs by itself does not count. Prints the table of deploy/fleet/README.md.
"""

import gzip
import sys
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime, time
from pathlib import Path

from monitor.base.ledger import Ledger
from monitor.base.tables.database import DatabaseTable
from monitor.base.vehicle import Vehicle
from monitor.simulate import Scenario, run
from monitor.store.forward_server import Answer, DatabaseServer
from monitor.store.forwarder import Forwarder
from tests.live.demo import journalled
from tests.live.servers import VictoriaMetrics
from tests.store.forwarding import MemoryJournal, drain

DAYS = 4
SETTINGS: dict[str, dict[str, object]] = {
    'samples = "none", seconds = false': {"samples": "none", "seconds": False},
    'samples = "1 min", seconds = false': {"samples": "1 min", "seconds": False},
    'samples = "10 s", seconds = false': {"samples": "10 s", "seconds": False},
    'samples = "10 s", seconds = true': {},
    'samples = "full", seconds = false, 10 Hz': {"samples": "full", "seconds": False},
}


class Weighed:
    """Passes lines on and counts them."""

    def __init__(self, server: DatabaseServer) -> None:
        self.server, self.name = server, server.name
        self.points = self.sent_bytes = self.packed_bytes = 0

    def write(self, lines: Sequence[str]) -> Answer:
        self.points += len(lines)
        body = "\n".join(lines).encode()
        self.sent_bytes += len(body)
        self.packed_bytes += len(gzip.compress(body))  # as the client packs
        return self.server.write(lines)

    def close(self) -> None:
        self.server.close()


def life(vehicle: Vehicle, days: int) -> MemoryJournal:
    scenario = Scenario.model_validate(
        {
            "start": datetime(2025, 3, 3, tzinfo=UTC),
            "days": float(days),
            "seed": 7,
            "trips": [
                {"at": time(7, 30), "duration": 1500.0, "stops": 3},
                {"at": time(17, 10), "duration": 1800.0, "stops": 2},
            ],
            "wake_ups": [{"amps": 0.14, "duration": 45.0, "every": 7200.0}],
            "logger": {"rate": 10.0},
        }
    )
    return journalled(vehicle, run(scenario).blocks(), Ledger())


def weight(vehicle: Vehicle, journal: MemoryJournal, settings: dict[str, object]) -> tuple[int, int, int, int]:
    """Points, bytes sent, bytes sent packed, bytes on the disk."""
    journal.position, journal.state = 0, ""
    with tempfile.TemporaryDirectory(prefix="keyoff-bench-") as folder:
        metrics = VictoriaMetrics(Path(folder))
        metrics.start()
        table = DatabaseTable.model_validate({"url": metrics.url, **settings})
        server = Weighed(DatabaseServer(table))
        drain(Forwarder(vehicle.model_copy(update={"database": table}), lambda: journal, journal.move, server=server))
        server.close()
        metrics.end()
        return server.points, server.sent_bytes, server.packed_bytes, metrics.disk_bytes()


def main() -> int:
    vehicle = Vehicle(name="van, white")
    whole, half = life(vehicle, DAYS), life(vehicle, DAYS // 2)
    days = DAYS - DAYS // 2
    lines = [
        "| setting | points a day | kB sent a day | … with `compress` | kB on disk a day |",
        "|---|--:|--:|--:|--:|",
    ]
    for what, settings in SETTINGS.items():
        points, *kilobytes = (
            (a - b) / days
            for a, b in zip(weight(vehicle, whole, settings), weight(vehicle, half, settings), strict=True)
        )
        lines.append(f"| `{what}` | {points:,.0f} | " + " | ".join(f"{size / 1e3:,.0f}" for size in kilobytes) + " |")
    sys.stdout.write("\n".join(lines) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
