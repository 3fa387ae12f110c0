"""What the commands that give orders to a running service share: whom, how long to wait, what to say."""

from __future__ import annotations

import os
import time
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from monitor.base.orders import Order, OrderKind
    from monitor.store.home import Home

WAIT_S = 5.0  # our choice: the service answers within a second or two
EXIT_REFUSED, EXIT_WAITING = 1, 3


def homes_of(data: Path | None, name: str | None) -> list[Home]:
    """The vehicles of the data folder, or the one named."""
    from monitor.service.place import existing, folder_to_ask

    return existing(folder_to_ask(data, os.environ), name)


def one_of(data: Path | None, name: str | None) -> Home:
    """The vehicle named, or the only one."""
    from monitor.base.errors import SettingError

    found = homes_of(data, name)
    if len(found) > 1:
        names = ", ".join(home.folder.name for home in found)
        raise SettingError(f"several vehicles are watched here: {names}", "name one: --name NAME")
    return found[0]


def order(kind: OrderKind, **what: Any) -> Order:
    """An order given now."""
    from monitor.base.orders import Order

    at = time.time_ns() // 1000
    return Order(id=f"{at:016d}-{uuid.uuid4().hex[:8]}", at=at, kind=kind, **what)


def give(home: Home, orders: list[Order]) -> None:
    """Leave the orders, wait for what comes of them and say it; exits 1 when one was refused, 3 when they wait."""
    from monitor.service import health, inbox
    from monitor.service.place import runs
    from monitor.views.alarm_list import local_times
    from monitor.views.words import LocalTime

    running = runs(home)
    for one in orders:
        inbox.put(home, one)
    if not running:
        typer.echo(f"{home.folder.name}: the service does not run; the order waits for it")
        raise typer.Exit(EXIT_WAITING)
    time_there = LocalTime(None if (told := health.read(home.health)) is None else told.shown_in)
    refused = False
    for one in orders:
        answer = inbox.await_answer(home, one, WAIT_S)
        if answer is None:
            typer.echo(f"{home.folder.name}: no answer within {WAIT_S:g} s; the order waits (see keyoff status)")
            raise typer.Exit(EXIT_WAITING)
        typer.echo(f"{home.folder.name}: {'' if answer.done else 'refused: '}{local_times(answer.text, time_there)}")
        refused = refused or not answer.done
    if refused:
        raise typer.Exit(EXIT_REFUSED)


def until_after(text: str, option: str) -> int:
    """Microseconds UTC of "8h" from now; raises SettingError."""
    from monitor.base.errors import SettingError
    from monitor.base.quantities import DURATION, parse_quantity

    try:
        seconds = parse_quantity(text, DURATION)
    except ValueError as wrong:
        raise SettingError(f'{option} "{text}": {wrong}', f'write it as {option} "2 h"') from wrong
    if not 0 < seconds <= LONGEST_S:
        raise SettingError(f'{option} "{text}": expected more than zero and at most 30 days', f"write {option} 2h")
    return time.time_ns() // 1000 + int(seconds * 1e6)


LONGEST_S = 30 * 86400.0  # our choice: what is put aside for longer is forgotten; take the limit out of service instead
