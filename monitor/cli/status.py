"""`keyoff status`: what each part of the service last did; its exit code says whether somebody is needed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff status --data /var/lib/keyoff"


def status(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="One vehicle; all when not given.", show_default=False)
    ] = None,
    data: Annotated[Path | None, typer.Option(metavar="DIR", help="The service's data folder.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as one JSON object.")] = False,
) -> None:
    """Say how the service is.

    Exit code: 0 all is well, 1 somebody is needed, 3 it does not run.
    """
    import json
    import time

    from monitor.cli.orders import homes_of
    from monitor.service.standing import standing

    told = [standing(home, time.time_ns() // 1000) for home in homes_of(data, name)]
    if as_json:
        typer.echo(json.dumps({one.vehicle: one.plain() for one in told}, indent=2, ensure_ascii=False).encode())
    else:
        from monitor.views.status import print_status

        print_status(told)
    raise typer.Exit(max((one.exit_code for one in told), default=0))
