"""`keyoff hush`: announce nothing for a while, for working on the vehicle."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff hush 2h"


def hush(
    length: Annotated[
        str | None, typer.Argument(metavar="LENGTH", help='For how long, as 2h or "30 min".', show_default=False)
    ] = None,
    off: Annotated[bool, typer.Option("--off", help="Announce again.")] = False,
    name: Annotated[str | None, typer.Option(metavar="NAME", help="Which vehicle, where several are watched.")] = None,
    data: Annotated[Path | None, typer.Option(metavar="DIR", help="The service's data folder.")] = None,
) -> None:
    """Announce no alarm for a while, for working on the vehicle.

    Logging goes on. Exit code: 0 done, 1 refused, 3 the order waits for the service.
    """
    from monitor.base.errors import SettingError
    from monitor.cli.orders import give, one_of, order, until_after

    if (length is None) != off:
        raise SettingError("expected how long, or --off", "keyoff hush 2h")
    home = one_of(data, name)
    if off:
        give(home, [order("unhush")])
    else:
        give(home, [order("hush", until=until_after(str(length), "hush"))])
