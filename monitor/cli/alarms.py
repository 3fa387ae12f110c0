"""`keyoff alarms`: what stands, and what to do with it: acknowledge, shelve, take out of service."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from monitor.base.alarms import Alarm
    from monitor.store.home import Home

EXAMPLE = "Example: keyoff alarms shelve sleep_current --for 8h"


def alarms(
    action: Annotated[
        Literal["acknowledge", "shelve", "unshelve", "out-of-service", "in-service"] | None,
        typer.Argument(
            metavar="ACTION", help="acknowledge, shelve, unshelve, out-of-service, in-service.", show_default=False
        ),
    ] = None,
    which: Annotated[
        str | None,
        typer.Argument(metavar="LIMIT", help="A limit's name, its number in the list, or all.", show_default=False),
    ] = None,
    length: Annotated[str | None, typer.Option("--for", metavar="LENGTH", help="shelve: for how long, as 8h.")] = None,
    name: Annotated[str | None, typer.Option(metavar="NAME", help="Which vehicle, where several are watched.")] = None,
    data: Annotated[Path | None, typer.Option(metavar="DIR", help="The service's data folder.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the list as one JSON object.")] = False,
) -> None:
    """List the alarms that stand, acknowledge or shelve them.

    Exit code: 0 nothing stands unacknowledged, or done; 1 something does, or refused; 3 the order waits.
    """
    from monitor.base.errors import SettingError
    from monitor.cli.orders import give, homes_of, one_of, order, until_after
    from monitor.service.health import read

    if action is None:
        raise typer.Exit(_listed(homes_of(data, name), as_json))
    if which is None:
        raise SettingError(
            f"{action}: expected a limit's name, its number in the list, or all", f"keyoff alarms {action} 1"
        )
    if (length is None) == (action == "shelve"):
        raise SettingError(f"{action}: --for belongs to shelve, and shelve needs it", "keyoff alarms shelve 1 --for 8h")
    home = one_of(data, name)
    health = read(home.health)
    limits = _named(which, [] if health is None else health.alarms)
    until = None if length is None else until_after(length, "--for")
    kind = action.replace("-", "_")
    give(home, [order(kind, limit=limit, until=until) for limit in limits])  # type: ignore[arg-type]  # same words


def _named(which: str, standing: list[Alarm]) -> list[str]:
    """Names of the limits that `which` means: of alarms by number or "all", else the name itself."""
    from monitor.base.errors import SettingError

    if which == "all" or which.isdigit():
        names = [alarm.limit for alarm in standing if which != "all" or alarm.acknowledged is None]
        if which == "all" and names:
            return names
        if which != "all" and 0 < int(which) <= len(names):
            return [names[int(which) - 1]]
        raise SettingError(f"{which}: no such alarm stands", "keyoff alarms lists them")
    return [which]


def _listed(homes: list[Home], as_json: bool) -> int:
    import json

    from monitor.service.health import read
    from monitor.views.alarm_list import print_alarms

    found = [(home, read(home.health)) for home in homes]
    there = [health for _, health in found if health is not None]
    if as_json:
        listed = {health.vehicle: [alarm.model_dump(mode="json") for alarm in health.alarms] for health in there}
        typer.echo(json.dumps(listed, indent=2, ensure_ascii=False).encode())
    else:
        print_alarms([(one.vehicle, one.alarms, one.hushed_until, one.shown_in) for one in there])
    return int(any(alarm.state == "unacknowledged" for health in there for alarm in health.alarms))
