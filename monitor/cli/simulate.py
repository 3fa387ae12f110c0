"""`keyoff simulate`: a vehicle with known faults, as a log with its truth, or as a virtual logger on a wire."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff simulate replay_logs/sound-week.toml -o week.csv.gz --seed 7"


def simulate(
    scenario: Annotated[
        Path | None, typer.Argument(metavar="SCENARIO", help="Scenario file (TOML).", show_default=False)
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="LOG", help="Write this log (.csv, .csv.gz, .parquet) and its truth."),
    ] = None,
    live: Annotated[
        str | None,
        typer.Option(metavar="WIRE", help="Speak as a logger on a serial port, pty, or tcp://127.0.0.1:PORT."),
    ] = None,
    speed: Annotated[float, typer.Option(help="With --live: so many times as fast as the clock.", min=0.001)] = 1.0,
    now: Annotated[bool, typer.Option("--now", help="With --live: let the log begin at this moment.")] = False,
    seed: Annotated[int | None, typer.Option(help="Another seed than the scenario's.", min=0)] = None,
    days: Annotated[float | None, typer.Option(help="Another length than the scenario's.", min=0.001)] = None,
    rate: Annotated[float | None, typer.Option(help="Another sampling rate, Hz.", min=0.01, max=1000.0)] = None,
    demos: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Make anew the log and truth of each scenario in this folder.")
    ] = None,
) -> None:
    """Make a log of a simulated vehicle whose faults are known.

    Writes the log and, beside it, its truth in the shape of the result document, or speaks the log live.
    """
    from monitor.base.errors import SettingError

    if demos is not None:
        from monitor.simulate.demos import make_demos

        for made in make_demos(demos):
            typer.echo(f"{made}")
        return
    if scenario is None or (output is None) == (live is None):
        raise SettingError("expected a scenario and one of -o LOG and --live WIRE", EXAMPLE.removeprefix("Example: "))

    from monitor.base.documents import load_document
    from monitor.simulate import Scenario, run
    from monitor.simulate.files import ending, write

    if output is not None:
        ending(output)  # a wrong name is told before the work
    chosen = load_document(scenario, Scenario)
    changes: dict[str, object] = {k: v for k, v in (("seed", seed), ("days", days)) if v is not None}
    if rate is not None:
        changes["logger"] = chosen.logger.model_copy(update={"rate": rate})
    simulation = run(chosen, **changes)
    if output is not None:
        truth = write(simulation, output)
        typer.echo(f"{output}: {simulation.truth.log.samples} samples; truth in {truth}")
        return

    import time

    from monitor.simulate.live import serve
    from monitor.simulate.wire import open_wire

    wire = open_wire(str(live))
    typer.echo(f"Speaking on {wire.name}")
    told = serve(simulation, wire, speed, starts_us=time.time_ns() // 1000 if now else None)
    typer.echo(f"{told.sent} samples sent, {told.lost} lost because nobody read")
