"""`keyoff check`: the fitting check before walking away."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff check car.toml"
LEAST_S, MOST_S = 40.0, 3600.0  # our choice: 20 s measured at least; nobody stands beside it for more than an hour


def check(
    vehicle: Annotated[Path, typer.Argument(metavar="VEHICLE", help="Vehicle file (TOML) with [source].")],
    seconds: Annotated[
        float,
        typer.Option(
            min=LEAST_S, max=MOST_S, metavar="S", help="How long to listen at most; your answers may take longer."
        ),
    ] = 120.0,
    questions: Annotated[
        bool,
        typer.Option("--questions/--no-questions", help="Ask for what only a person can do. Needs a terminal."),
    ] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings as one JSON object.")] = False,
    data: Annotated[Path | None, typer.Option(metavar="DIR", help="Folder of all data, as for keyoff watch.")] = None,
) -> None:
    """Check in two minutes whether a logger is fitted right, before it is left alone.

    Nothing is stored. Stop keyoff watch for this vehicle first: a port has one reader.

    Exit codes: 0 fit to leave; 1 something to mend; 2 a setting that cannot be used.
    """
    import os
    import shutil

    from monitor.base.documents import load_document
    from monitor.base.errors import SettingError
    from monitor.base.vehicle import Vehicle
    from monitor.cli.person import Nobody, Person
    from monitor.service import check as checking
    from monitor.service.clock import now_us, unset
    from monitor.service.destinations import send
    from monitor.service.place import data_folder, homes, runs
    from monitor.sources.live import open_live
    from monitor.views.check import print_before, print_findings

    car = load_document(vehicle, Vehicle)
    if car.source is None:
        raise SettingError(f"{vehicle}: nothing says where its logger is", 'add [source] url = "serial:/dev/ttyUSB0"')
    folder = data_folder(data, os.environ)
    (home,) = homes(folder, [car.name])

    def free() -> int | None:
        here = next((place for place in (folder, *folder.resolve().parents) if place.is_dir()), None)
        return None if here is None else shutil.disk_usage(here).free

    world = checking.World(now_us, lambda: unset(now_us(), None), free, lambda: runs(home), send)
    person = Person() if questions and sys.stdin.isatty() else Nobody()
    logger = open_live(car.source.url, checking.hurried(car, seconds), guest=True)
    print_before(sys.stderr)
    try:
        findings = checking.check(car, logger, person, world, seconds)
    finally:
        logger.close()
    to_mend = any(one.judgement == "mend" for one in findings)
    if as_json:
        import json

        document = {"vehicle": car.name, "fit": not to_mend, "findings": [one.model_dump() for one in findings]}
        typer.echo(json.dumps(document, indent=2, ensure_ascii=False).encode())
    else:
        print_findings(findings)
    raise typer.Exit(1 if to_mend else 0)
