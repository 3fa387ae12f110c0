"""How a vehicle's service stands, by its health file, its lock and its journal; what needs a person."""

from __future__ import annotations

from typing import Any

from monitor.base.errors import KeyoffError
from monitor.base.health import Health, Standing
from monitor.service.health import read
from monitor.service.place import runs
from monitor.store.home import Home
from monitor.store.reader import JournalReader

DAY_US = 86_400_000_000
SETTLED = ("sent", "refused", "dropped")
TRIES = 5  # sendings that failed one after the other; our choice: an outage of minutes mends itself
STALE_US = 30_000_000  # our choice: six health files missed


def standing(home: Home, now_us: int) -> Standing:
    """How it stands now."""
    running = runs(home)
    try:
        health = read(home.health)
    except KeyoffError as wrong:
        return Standing(home.folder.name, running, None, [f"{wrong.what}; {wrong.remedy}"], [])
    if health is None:
        return Standing(home.folder.name, running, None, ["it has not said how it is yet"], [])
    return Standing(health.vehicle, running, health, problems(health, now_us) if running else [], _storage(home))


def _storage(home: Home) -> list[tuple[str, str]]:
    """What only the journal knows, with its label."""
    try:
        with JournalReader(home) as reader:
            last_us = reader.last_sample_us()
            today = 0 if last_us is None else reader.samples_since(last_us // DAY_US * DAY_US)
            waiting = [(to, n) for (to, state), n in reader.letter_counts().items() if state not in SETTLED]
            return [
                ("Today", f"{today:,} samples since midnight UTC"),
                *(("Notices", f"{n:,} waiting for {to}") for to, n in waiting),
                *(
                    ("Cursor", f"{cursor.name}: {cursor.lag:,} records behind, {cursor.rejected:,} rejected")
                    for cursor in reader.cursors()
                ),
            ]
    except KeyoffError as wrong:
        return [("Journal", f"{wrong.what}; {wrong.remedy}")]


def problems(health: Health, now_us: int) -> list[str]:
    """What needs a person."""
    told: list[str] = []
    age_us = now_us - health.written
    if age_us > STALE_US:
        told.append(f"it runs, but has not said how it is for {age_us // 1_000_000:,} s")
    if health.link.state not in ("speaking", "opening"):
        told.append(f"logger: {health.link.state.replace('_', ' ')}: {health.link.why}")
    told += [
        f"alarm: {alarm.limit}, not acknowledged"
        for alarm in health.alarms
        if alarm.state in ("unacknowledged", "returned_unacknowledged")
    ]
    if health.watch == "off":
        told.append(f"the watch is off after a fault: {health.watch_why}")
    if health.waiting_bytes or health.dropped:
        told.append(
            f"{health.waiting_bytes:,} bytes of samples wait for the disk, {health.dropped:,} rows were dropped"
        )
    if health.clock_why:
        told.append(health.clock_why)
    told += _parts(health.parts)
    told += [f"job {name}: {run.text}" for name, run in health.jobs.items() if run.outcome == "failed"]
    return told


def _parts(parts: dict[str, Any]) -> list[str]:
    """What of the notices and the database no waiting will mend."""
    told = [
        f"notices to {one.get('to')}: {one.get('trouble')}"
        for one in parts.get("notices", [])
        if one.get("trouble") and one.get("failures", 0) >= TRIES
    ]
    database = parts.get("database", {})
    if database.get("state") == "refused":
        told.append(f"database: refused: {database.get('last_error')}")
    return told
