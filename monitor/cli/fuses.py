"""`keyoff fuses`: millivolts across fuses in, milliamperes of each circuit out; from a file or asked one by one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from monitor.assess.fuses import Measured

EXAMPLE = 'Example: keyoff fuses survey.csv --plateau "120 mA" --celsius 35'
LARGEST_BYTES = 262_144  # our choice: a survey is a page; a log named by mistake is refused at once


def fuses(
    survey: Annotated[
        Path | None, typer.Argument(metavar="SURVEY", help="CSV file; without it you are asked.", show_default=False)
    ] = None,
    plateau: Annotated[
        str | None, typer.Option(metavar="CURRENT", help='The measured sleep current, as "120 mA".')
    ] = None,
    celsius: Annotated[
        float | None, typer.Option(help="Temperature of the fuses, °C; 20 when not given.", min=-50, max=130)
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings as one JSON object.")] = False,
) -> None:
    """Find the circuit: current through each fuse from its millivolts.

    Turns the voltage drop across blade fuses into current, and holds their sum against the sleep current.
    """
    from monitor.assess.fuses import survey as assess
    from monitor.assess.survey import read_survey
    from monitor.base.errors import SettingError
    from monitor.base.quantities import CURRENT, parse_quantity
    from monitor.cli.texts import small_text

    try:
        plateau_a = parse_quantity(plateau, CURRENT) if plateau is not None else None
    except ValueError as wrong:
        raise SettingError(f'--plateau: "{plateau}": {wrong}', 'write it as --plateau "120 mA"') from wrong
    if plateau_a is not None and plateau_a <= 0:
        raise SettingError("--plateau: expected a drain above zero", 'write it as --plateau "120 mA"')
    lines = (
        read_survey(small_text(survey, LARGEST_BYTES, "a fuse survey"), str(survey)) if survey is not None else _asked()
    )
    found = assess(lines, plateau_a, celsius)
    if as_json:
        typer.echo(found.model_dump_json(indent=2).encode())
    else:
        from monitor.views.fuses import print_fuses

        print_fuses(found)


def _asked() -> list[Measured]:
    """Fuses asked for one by one on stderr; a wrong answer is told and asked again, no fuse ends it."""
    from monitor.assess.survey import measured
    from monitor.base.errors import InputError, SettingError

    def ask(question: str, default: str = "") -> str:
        return str(typer.prompt(question, default=default, show_default=bool(default), err=True))

    typer.echo("Everything asleep? Meter in volts, across the fuse. An empty name ends.", err=True)
    found: dict[str, Measured] = {}
    family = "regular"
    while name := ask("Fuse"):
        if name in found:
            typer.echo(f"{name} was measured already.", err=True)
            continue
        row = {"fuse": name, "family": ask("Family", family), "rating": ask("Rating, A")}
        row["millivolts"] = ask("Millivolts")
        row["feeds"] = ask("Fed through fuse (empty: none)")
        try:
            try:
                found[name] = measured(row, name)
            except InputError as wrong:
                if "no published resistance" not in wrong.what:
                    raise
                typer.echo(wrong.what, err=True)
                row["resistance"] = ask("Its resistance as measured, mΩ (empty: leave it out)")
                if not row["resistance"]:
                    continue
                found[name] = measured(row, name)
            family = found[name].family
        except InputError as wrong:
            typer.echo(f"{wrong.what}\n{wrong.remedy}; asked again", err=True)
    if not found:
        raise SettingError("no fuse was given", "keyoff fuses deploy/survey.csv")
    return list(found.values())
