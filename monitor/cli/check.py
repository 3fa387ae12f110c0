"""`keyoff check`: the fitting check before walking away."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff check car.toml"


def check(
    vehicle: Annotated[Path, typer.Argument(metavar="VEHICLE", help="Vehicle file (TOML) with [source].")],
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing: say what to do, and give 15 s for it. Sends test notices.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings as one JSON list.")] = False,
    data: Annotated[Path | None, typer.Option(metavar="DIR", help="Folder of all data, as for keyoff watch.")] = None,
) -> None:
    """Check for two minutes whether a logger is fitted right, before it is left alone.

    Stop keyoff watch for that vehicle first: a port has one reader. Exit code: 0 fit to leave, 1 something to mend.
    """
    import os
    import shutil

    from monitor.base.documents import load_document
    from monitor.base.errors import SettingError
    from monitor.base.vehicle import Vehicle
    from monitor.cli.person import Nobody, Person, Waiting
    from monitor.service import check as checking
    from monitor.service.clock import now_us, unset
    from monitor.service.destinations import send
    from monitor.service.place import data_folder
    from monitor.sources.live.opening import open_live
    from monitor.views.check import print_cautions, print_findings

    car = load_document(vehicle, Vehicle)
    if car.source is None:
        raise SettingError(f"{vehicle}: nothing says where its logger is", 'add [source] url = "serial:/dev/ttyUSB0"')
    folder = data_folder(data, os.environ)

    def free() -> int | None:
        for place in (folder, *folder.parents):
            if place.is_dir():
                return shutil.disk_usage(place).free
        return None

    world = checking.World(now_us, lambda: unset(now_us(), None), free, send)
    person = Waiting() if yes else Person() if sys.stdin.isatty() else Nobody()
    logger = open_live(car.source.url, car)
    print_cautions(sys.stderr)
    try:
        findings = checking.check(car, logger, person, world)
    finally:
        logger.close()
    if as_json:
        import json

        typer.echo(json.dumps([one.model_dump() for one in findings], indent=1))
    else:
        print_findings(findings)
    raise typer.Exit(1 if any(one.judgement == "mend" for one in findings) else 0)
