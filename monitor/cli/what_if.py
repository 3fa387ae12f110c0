"""Replay under limits: the alarms one set of rules would have raised, or two sets side by side."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from monitor.base.errors import SettingError

if TYPE_CHECKING:
    from monitor.base.alarms import Alarm
    from monitor.base.ledger import Ledger
    from monitor.base.results import Result
    from monitor.base.samples import Block
    from monitor.base.vehicle import Vehicle
    from monitor.limits.rules import Rules


def rules_asked(named: list[str], car: Vehicle, vehicle_file: Path | None) -> list[Rules]:
    """The rules that were named, else those the vehicle file names; none: no limits are judged."""
    from monitor.store.rules_files import load_rules

    if len(named) > 2:
        raise SettingError(f"--rules is given {len(named)} times", "give one set of rules, or two to compare them")
    if named:
        return [load_rules(car, vehicle_file, name) for name in named]
    return [load_rules(car, vehicle_file)] if car.rules is not None else []


def replay_with(
    rules: list[Rules], blocks: Iterable[Block], ledger: Ledger, car: Vehicle
) -> tuple[Result, list[list[Alarm]]]:
    """The document of a whole log, not assessed yet, with the alarms of the first rules; and those of each."""
    from monitor.base.orders import Order
    from monitor.limits.watch import Event, Watch

    watches = [Watch(car, one, None) for one in rules]
    events: list[list[Event]] = [[] for _ in rules]
    told = 0
    for block in blocks:
        steps = list(enumerate(ledger.clock_steps))[told:]
        told += len(steps)
        for watch, heard in zip(watches, events, strict=True):
            heard += watch.update(block)
            for number, (at_us, size_s) in steps:
                step = Order(id=f"step {number}", at=at_us, kind="observe", quantity="clock_step", value=abs(size_s))
                heard += watch.order(step)
    raised = [watch.raised(heard) for watch, heard in zip(watches, events, strict=True)]
    return watches[0].detected(events[0], ledger), raised


def print_what_if(
    rules: list[Rules], raised: list[list[Alarm]], result: Result, zone: tzinfo | None, relative: bool, as_json: bool
) -> None:
    """Print two sets side by side, as text or as one JSON object."""
    from monitor.views.alarms import compare, print_comparison

    end_us = result.log.last or 0
    found = compare([one.name for one in rules], raised[0], raised[1], end_us)
    if as_json:
        typer.echo(found.model_dump_json(indent=2).encode())
    else:
        print_comparison(found, end_us, zone, relative)
