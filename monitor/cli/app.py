"""The commands and their order in `keyoff --help`. Each command's file imports what is heavy only when it runs."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Annotated

import typer

from monitor import __version__

# each the name of a module here and of the function in it
COMMANDS = (
    "replay",
    "check",
    "watch",
    "status",
    "alarms",
    "mark",
    "hush",
    "tell",
    "rules",
    "fuses",
    "confirm",
    "export",
    "simulate",
    "schema",
)

app = typer.Typer(
    name="keyoff",
    help="Says what drains or undercharges a vehicle battery, from days of logged volts and amps.",
    epilog="Example: keyoff replay night.csv",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"keyoff {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", help="Show the version and exit.", callback=_version, is_eager=True)
    ] = False,
) -> None:
    """Options of the program itself."""


for _name in COMMANDS:
    if find_spec(f"monitor.cli.{_name}") is not None:
        _module = import_module(f"monitor.cli.{_name}")
        app.command(_name, epilog=_module.EXAMPLE)(getattr(_module, _name))
