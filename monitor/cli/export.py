"""`keyoff export`: a span of what a vehicle's service has kept, as a log file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff export /var/lib/keyoff/estate-car --from 2025-11-03 -o week.parquet"


def export(
    data: Annotated[Path, typer.Argument(metavar="DATA", help="Data folder of one vehicle.")],
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="LOG", help="Write this log: .csv, .csv.gz, .parquet or .senml."),
    ],
    start: Annotated[
        str | None,
        typer.Option("--from", metavar="TIME", help="Leave out what is before this time (ISO 8601)."),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option("--to", metavar="TIME", help="Leave out this time and what follows. Times without zone are UTC."),
    ] = None,
) -> None:
    """Write what a vehicle's service has kept as a log file.

    Takes the journal and the archive together, while the service runs or not. `keyoff replay` reads the file back to
    the same findings.
    """
    from datetime import UTC

    from monitor.base.window import Window, parse_moment
    from monitor.store.export import ending
    from monitor.store.export import export as write
    from monitor.store.span import open_span

    ending(output)  # a wrong name is told before the work
    window = Window(
        parse_moment(start, UTC, "--from") if start else None, parse_moment(end, UTC, "--to") if end else None
    )
    with open_span(data, window.start_us, window.end_us) as span:
        written = write(span, output)
    typer.echo(f"{output}: {written}")
    typer.echo("Times are UTC, amps are + into the battery: leave [log] amps and time out when you replay it.")
    for notice in span.notices:
        typer.echo(f"Note: {notice}.")
    for reason, samples in span.ledger.refused.items():
        typer.echo(f"Not in it: {samples:,} ({reason}).")
