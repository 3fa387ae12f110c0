"""`keyoff rules`: presets listed, a rules file checked, and what limits hold for a vehicle."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "Example: keyoff rules flooded --limit sleep-current"


def rules(
    named: Annotated[
        str | None,
        typer.Argument(metavar="PRESET|FILE", help="A preset, or a rules file (.toml).", show_default=False),
    ] = None,
    vehicle: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Vehicle file: the limits as they hold for it.")
    ] = None,
    limit: Annotated[str | None, typer.Option(metavar="NAME", help="Explain this limit.")] = None,
    quantities: Annotated[bool, typer.Option("--quantities", help="List what a limit may be set on.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
) -> None:
    """List limit presets, explain or check rules.

    Without a name it lists the presets. A file is checked as it is read: what is wrong is told with its line.
    """
    import json
    from difflib import get_close_matches

    from monitor.base.errors import SettingError
    from monitor.limits.rules import rules_json
    from monitor.store.rules_files import list_presets, load_rules, read_chain, typical_vehicle
    from monitor.views import rules as view

    if quantities:
        if as_json:
            typer.echo(json.dumps(view.quantities_table(), indent=2, ensure_ascii=False).encode())
        else:
            view.print_quantities()
        return
    if named is None and vehicle is None:
        if limit is not None:
            raise SettingError("--limit: of which rules?", f"keyoff rules PRESET --limit {limit}")
        presets = list_presets()
        if as_json:
            typer.echo(json.dumps([{"name": name, "about": about} for name, about in presets], indent=2).encode())
        else:
            view.print_presets(presets)
        return
    if vehicle is not None:
        from monitor.base.documents import load_document
        from monitor.base.vehicle import Vehicle

        car = load_document(vehicle, Vehicle)
    else:
        car = typical_vehicle(read_chain(named or "", Path()))
    found = load_rules(car, vehicle, named)
    if limit is not None:
        known = [one.name for one in found.limits]
        if limit not in known:
            near = next(iter(get_close_matches(limit, known)), None)
            raise SettingError(
                f'--limit: {found.name} has no limit "{limit}"',
                f'did you mean "{near}"?' if near else f"its limits: {', '.join(known)}",
            )
    if as_json:
        data = rules_json(found)
        shown = next((one for one in data["limits"] if one["name"] == limit), data)
        typer.echo(json.dumps(shown, indent=2, ensure_ascii=False).encode())
    elif limit is not None:
        view.print_limit(next(one for one in found.limits if one.name == limit), found)
    else:
        view.print_rules(found, car.battery)
