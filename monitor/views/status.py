"""How the service stands, as a person reads it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO

from monitor.base.errors import printable
from monitor.base.health import Health, JobRun, Standing
from monitor.views.lines import Lines
from monitor.views.words import NB, LocalTime, amps, count, length, rate

COLUMN = 12
_DOING = {
    "running": "engine running",
    "stopping": "engine perhaps stopped, not certain yet,",
    "standing": "standing",
    "settling": "standing, not asleep yet,",
    "asleep": "asleep",
    "awake": "awake",
}


def print_status(told: Sequence[Standing], file: IO[str] | None = None, width: int | None = None) -> None:
    """Print each vehicle; times in its zone, or in this computer's where it has none."""
    out = Lines(file, width)
    for place, one in enumerate(told):
        time = LocalTime(None if one.health is None else one.health.shown_in)
        if place:
            out.line()
        out.wrapped(printable(one.vehicle), weight="bold")
        out.wrapped(_head(one), weight="bold" if one.exit_code else "")
        out.items("Somebody is needed", [printable(text) for text in one.problems])
        if one.health is not None:
            out.line()
            for label, text in _rows(one, one.health, time):
                out.wrapped(printable(text.replace(NB, " ")), COLUMN, label)


def _head(one: Standing) -> str:
    if not one.running:
        return "The service does not run."
    return "All is well." if not one.problems else "The service runs."


def _rows(one: Standing, health: Health, time: LocalTime) -> list[tuple[str, str]]:
    now = health.written
    verb = "Runs" if one.running else "Ran"
    rows = [("Service", f"{verb} since {time.moment(health.started)}, process {health.pid}, version {health.version}")]
    if not one.running:
        rows.append(("", f"Last heard of {time.moment(now)}"))
    link = health.link
    rows.append(("Logger", f"{link.logger}: {link.state.replace('_', ' ')} since {time.moment(link.since)}"))
    if link.why:
        rows.append(("", link.why))
    rows.append(("Samples", _samples(health, time)))
    rows.append(("Vehicle", _vehicle(health, time)))
    if health.refused:
        rows.append(("Refused", ", ".join(f"{number:,} {why}" for why, number in health.refused.items())))
    kept = "" if health.checkpoint is None else f", state of the watch kept {time.beside(health.checkpoint, now)}"
    rows.append(("Journal", f"position {health.position:,}{kept}"))
    rows += one.storage
    rows.append(("Watch", _watch(health, time)))
    rows.append(("Alarms", _alarms(health)))
    rows.append(
        ("Disk", "unknown" if health.disk_free_bytes is None else f"{health.disk_free_bytes / 1e9:.1f} GB free")
    )
    rows += [("Clock", text) for text in _clock(health, time)]
    for place, (name, run) in enumerate(health.jobs.items()):
        rows.append(("" if place else "Jobs", f"{name}: {_job(run, time, now)}"))
    rows += [("Restarts", f"{name}: {count(number, 'time')}") for name, number in health.restarts.items()]
    for name, part in health.parts.items():
        rows += [(name.capitalize() if not place else "", text) for place, text in enumerate(_part(part))]
    return rows


def _alarms(health: Health) -> str:
    told = [alarm for alarm in health.alarms if alarm.state != "suppressed_by_design"]
    if not health.alarms:
        return "none standing"
    held = len(health.alarms) - len(told)
    if health.hushed_until is not None and not told:
        return f"{count(held, 'alarm')} standing, hushed"
    return f"{count(len(told), 'alarm')} standing" + (f", {held} more suppressed by design" if held else "")


def _samples(health: Health, time: LocalTime) -> str:
    if health.last_sample is None:
        return "none yet"
    pace = "none in the last minute" if health.rate_hz is None else rate(health.rate_hz)
    return f"last {time.moment(health.last_sample)}; {pace}; {count(health.samples, 'sample')} since the start"


def _vehicle(health: Health, time: LocalTime) -> str:
    now = health.condition
    if now is None:
        return "not known yet what it is doing"
    text = f"{_DOING[now.state]} since {time.moment(now.since)}"
    if now.sleep_a is not None:
        text += f"; sleeps at {amps(now.sleep_a)}"
    return text + (f", {count(now.wakes, 'wake-up')} so far" if now.wakes else "")


def _watch(health: Health, time: LocalTime) -> str:
    text = {"on": "on", "rebuilt": f"on, rebuilt after a fault: {health.watch_why}", "off": "off"}[health.watch]
    if health.rules:
        text += f", rules {health.rules}"
    if health.hushed_until is not None:
        text += ", hushed" + (f" until {time.moment(health.hushed_until)}" if health.hushed_until >= 0 else "")
    return text


def _clock(health: Health, time: LocalTime) -> list[str]:
    told = [health.clock_why or "set"]
    return told + [f"was set by {step.seconds:+.1f} s at {time.moment(step.at)}" for step in health.clock_steps[-3:]]


def _job(run: JobRun, time: LocalTime, now: int) -> str:
    due = "" if run.due is None else f"; next {time.beside(run.due, now)}"
    if run.at is None:
        return f"not run yet{due}"
    return f"{run.outcome} {time.beside(run.at, now)}, {run.text}{due}"


def _part(part: object) -> list[str]:
    """What another part says of itself: one line a destination or a part."""
    if isinstance(part, list):
        return [line for one in part for line in _part(one)] or ["nothing to do"]
    if isinstance(part, dict):
        return [", ".join(_figure(key, value) for key, value in part.items() if value)]
    return [str(part)]


def _figure(key: str, value: object) -> str:
    if key.endswith("_s") and isinstance(value, int | float):
        return f"{key[:-2].replace('_', ' ')} {length(float(value))}"
    return f"{key.replace('_', ' ')} {value}"
