"""`keyoff watch`: the service, in the foreground, for one or several vehicles."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff watch car.toml --data /var/lib/keyoff"


def watch(
    vehicles: Annotated[list[Path], typer.Argument(metavar="VEHICLE...", help="Vehicle files (TOML) with [source].")],
    data: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder of all data; else $STATE_DIRECTORY, else ~/.local/state/keyoff."),
    ] = None,
) -> None:
    """Watch vehicles live: log, detect, judge, tell.

    Runs until SIGTERM or Ctrl-C; SIGHUP reads the rules again. What it does goes to stderr, a line each.
    """
    from monitor.service.service import watch as run

    run(vehicles, data)
