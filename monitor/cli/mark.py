"""`keyoff mark`: note a moment in the running log, as a fuse pulled or a repair done."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = 'Example: keyoff mark "fuse 23 out" --kind fuse_out'


def mark(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What to note.")],
    kind: Annotated[
        str, typer.Option(help="fuse_out, fuse_in, repair, battery_replaced, bench_test or note.")
    ] = "note",
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="When it was (ISO 8601, local time); now when not given.")
    ] = None,
    name: Annotated[str | None, typer.Option(metavar="NAME", help="Which vehicle, where several are watched.")] = None,
    data: Annotated[Path | None, typer.Option(metavar="DIR", help="The service's data folder.")] = None,
) -> None:
    """Note a moment in the running log.

    The result document tells what changed at each mark. Without a running service the mark waits for it. Exit code: 0
    noted, 1 refused, 3 waiting.
    """
    import time
    from datetime import datetime

    from pydantic import ValidationError

    from monitor.assess.marks import KINDS, MarkEntry, marks_of
    from monitor.base.errors import SettingError
    from monitor.cli.orders import give, one_of, order

    home = one_of(data, name)
    zone = datetime.now().astimezone().tzinfo
    assert zone is not None
    try:
        entry = MarkEntry(at=at or datetime.now(zone).isoformat(), kind=kind, text=text)
    except ValidationError as wrong:
        first = wrong.errors(include_url=False)[0]
        raise SettingError(f"{first['loc'][0]}: {first['msg']}", f"kinds: {', '.join(KINDS)}") from wrong
    (noted,) = marks_of([entry], zone, "--at")
    if noted.at > time.time_ns() // 1000 + 60_000_000:
        raise SettingError(f"--at {at}: in the future", "note it when it happens")
    give(home, [order("mark", mark=noted)])
