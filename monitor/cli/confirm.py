"""`keyoff confirm`: logs from before and after a repair in, proven or not yet or failed out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from datetime import tzinfo

EXAMPLE = "Example: keyoff confirm week1.csv week2.csv --repair-at 2025-04-11T12:13"


def confirm(
    logs: Annotated[
        list[Path],
        typer.Argument(metavar="LOG...", help="Log files, folders, patterns; or a service's data."),
    ],
    repair_at: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="When it was repaired (ISO 8601). A time without zone is read in the vehicle file's [log] time zone,"
            " else as UTC.",
        ),
    ] = None,
    marks: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Marks (TOML or CSV: at, kind, text); one of the kind repair.")
    ] = None,
    vehicle: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Vehicle file (TOML); else a service's own.")
    ] = None,
    limit: Annotated[str, typer.Option(metavar="CURRENT", help="Sleep current that is still sound.")] = "50 mA",
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings as one JSON object.")] = False,
    current_sign: Annotated[
        Literal["as-logged", "reversed"],
        typer.Option(help="Take the sign of the current as the log has it, or the other way round."),
    ] = "as-logged",
) -> None:
    """Prove a repair: nights before against nights after.

    Compares sleep current, wake-ups, charge and decay of whole nights, and says how many more it takes.
    """
    from datetime import UTC
    from zoneinfo import ZoneInfo

    from monitor.base.errors import SettingError
    from monitor.base.quantities import CURRENT, parse_quantity
    from monitor.base.window import Window
    from monitor.cli.opened import asked, blocks_of, opened
    from monitor.cli.progress import progress_bar
    from monitor.cli.texts import marks_in

    what = asked(logs, vehicle)
    car = what.car
    zone: tzinfo = ZoneInfo(car.log.time.zone) if car.log.time.zone else UTC
    try:
        limit_a = parse_quantity(limit, CURRENT)
    except ValueError as wrong:
        raise SettingError(f'--limit: "{limit}": {wrong}', 'write it as --limit "50 mA"') from wrong
    if limit_a <= 0:
        raise SettingError("--limit: expected more than zero", 'write it as --limit "50 mA"')

    from monitor.assess.marks import MarkWatch, repair_of

    named = marks_in(marks, zone) if marks is not None else []
    if repair_at is None and not named and what.data is None:
        raise SettingError("when was it repaired?", "give --repair-at 2025-04-11T12:13, or --marks FILE")
    at = None if repair_at is None else _moment(repair_at, zone)

    from monitor.assess import assess
    from monitor.assess.confirm import confirm as compare
    from monitor.detect import Facts
    from monitor.detect import replay as detect

    with progress_bar() as progress:
        log, kept = opened(what, Window(), current_sign, progress)
        named = named or kept
        at = repair_of(named) if at is None else at
        watch = MarkWatch(named)
        result = detect(watch.passing(blocks_of(log, what, current_sign)), log.ledger, Facts.of(car), car.name)
    _within(at, result.log.first, result.log.last)
    home = zone if car.log.time.zone or log.assumes_utc else _this_computers_zone(at)
    result = assess(result, car, home)
    found = compare(result, at, home, limit_a)
    found.marks = watch.effects(result)
    if as_json:
        typer.echo(found.model_dump_json(indent=2).encode())
    else:
        from monitor.views.confirm import print_confirmation

        print_confirmation(found, home)


def _moment(text: str, zone: tzinfo) -> int:
    from datetime import date

    from monitor.base.errors import SettingError
    from monitor.base.window import parse_moment

    try:
        date.fromisoformat(text.strip())
    except ValueError:
        return parse_moment(text, zone, "--repair-at")
    raise SettingError(
        f'--repair-at "{text}": the time of day is missing', f"a night may lie on either side: {text.strip()}T12:00"
    )


def _this_computers_zone(at: int) -> tzinfo:
    from datetime import UTC, timedelta

    from monitor.base.fields import EPOCH

    return (EPOCH + timedelta(microseconds=at)).astimezone().tzinfo or UTC


def _within(at: int, first: int | None, last: int | None) -> None:
    from monitor.base.errors import SettingError
    from monitor.base.fields import iso

    if first is not None and last is not None and not first < at < last:
        raise SettingError(
            f"the repair at {iso(at)} is not within the log: it runs from {iso(first)} to {iso(last)}",
            "give logs from before and after it, or correct --repair-at",
        )
