"""`keyoff replay`: recorded logs in, stands and drives out, as text for a person or as the result document."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

EXAMPLE = "Example: keyoff replay night.csv --vehicle car.toml"


def replay(
    logs: Annotated[
        list[Path],
        typer.Argument(metavar="LOG...", help="Log files, folders, patterns; or a service's data."),
    ],
    vehicle: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Vehicle file (TOML); else a service's own.")
    ] = None,
    start: Annotated[
        str | None,
        typer.Option("--from", metavar="TIME", help="Leave out what is before this time (ISO 8601)."),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option(
            "--to",
            metavar="TIME",
            help="Leave out this time and what follows. A time without zone is read in the vehicle file's"
            " [log] time zone, else as UTC.",
        ),
    ] = None,
    marks: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Marks (TOML or CSV: at, kind, text); each is told its effect.")
    ] = None,
    rules: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME|FILE",
            help="Show the alarms that these limits raise; given twice, compare the two. Without it those that the"
            " vehicle file names, if it names any.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result document as one JSON object.")] = False,
    current_sign: Annotated[
        Literal["as-logged", "reversed"],
        typer.Option(help="Take the sign of the current as the log has it, or the other way round."),
    ] = "as-logged",
) -> None:
    """Say what happened in recorded logs.

    Cuts voltage/current logs into stands and drives; finds cranks, charging, sleep current, wake-ups, rest voltage.
    """
    from datetime import UTC
    from zoneinfo import ZoneInfo

    from monitor.base.window import Window, parse_moment
    from monitor.cli.notices import log_notices
    from monitor.cli.opened import asked, blocks_of, opened
    from monitor.cli.progress import progress_bar
    from monitor.cli.texts import marks_in
    from monitor.cli.what_if import rules_asked

    what = asked(logs, vehicle)
    car = what.car
    zone = ZoneInfo(car.log.time.zone) if car.log.time.zone else None
    window = Window(
        parse_moment(start, zone or UTC, "--from") if start else None,
        parse_moment(end, zone or UTC, "--to") if end else None,
    )
    named = marks_in(marks, zone or UTC) if marks is not None else []
    judged = [what.rules] if what.rules and not rules else rules_asked(rules or [], car, vehicle)
    # only now what takes long to import: a wrong setting is told at once
    import gc

    from monitor.assess import assess
    from monitor.detect import Facts
    from monitor.detect import replay as detect

    with progress_bar() as progress:
        log, kept = opened(what, window, current_sign, progress)
        named = named or kept
        gc.freeze()  # what has been imported stays, so the collector need not look through it again and again
        blocks = window.cut(blocks_of(log, what, current_sign), log.ledger)
        if named:
            from monitor.assess.marks import MarkWatch

            watch = MarkWatch(named)
            blocks = watch.passing(blocks)
        if judged:
            from monitor.cli.what_if import replay_with

            result, raised = replay_with(judged, blocks, log.ledger, car)
        else:
            result, raised = detect(blocks, log.ledger, Facts.of(car), car.name), []
    result.log.notices += log_notices(log)
    shown = zone or (UTC if log.assumes_utc else None)  # None: this computer's
    result.marks = named  # the verdict reads bench tests among them
    result = assess(result, car, UTC if log.relative else shown)
    result.marks = watch.effects(result) if named else []

    if len(judged) > 1:
        from monitor.cli.what_if import print_what_if

        print_what_if(judged, raised, result, shown, log.relative, as_json)
    elif as_json:
        typer.echo(result.model_dump_json(indent=2).encode())  # JSON is UTF-8, whatever the terminal speaks
    else:
        from monitor.views.replay import print_replay

        print_replay(result, shown, rules=judged[0].name if judged else None)
        if result.marks:
            from monitor.views.marks import print_marks

            print_marks(result.marks, shown, log.relative)
