"""`keyoff tell`: a test notice to every destination of a vehicle file, and what came of each."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from monitor.base.tables.notices import Destination
    from monitor.service.destinations import Outcome

EXAMPLE = "Example: keyoff tell car.toml"


def tell(
    vehicle: Annotated[Path, typer.Argument(metavar="VEHICLE", help="Vehicle file (TOML) with [notices].")],
    to: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only this destination; all when not given.", show_default=False)
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what came of it as one JSON object.")] = False,
) -> None:
    """Send a test notice to each destination, and say what came of it.

    Quiet hours and priorities play no part. Addresses are never shown; a service that runs is not disturbed.
    """
    from monitor.base.documents import load_document
    from monitor.base.errors import SettingError
    from monitor.base.vehicle import Vehicle
    from monitor.service.destinations import send

    car = load_document(vehicle, Vehicle)
    destinations = _asked(car.notices.destinations, to, vehicle)
    subject = f"[test] {car.name}"[:79]
    text = f"A test notice of {car.name}. If you can read this, notices reach you. Nothing to do."
    outcomes = []
    for destination in destinations:
        outcomes.append((destination, send(destination.to, subject, text)))
        if not as_json:
            typer.echo(_line(*outcomes[-1]))
    if as_json:
        told = [{"to": one.called, "fate": outcome.fate, "why": outcome.why} for one, outcome in outcomes]
        typer.echo(json.dumps({"vehicle": car.name, "notices": told}, indent=2, ensure_ascii=False).encode())
    failed = [one.called for one, outcome in outcomes if outcome.fate != "sent"]
    if failed:
        raise SettingError(
            f"{len(failed)} of {len(outcomes)} destinations did not confirm the test notice: {', '.join(failed)}",
            "see to what stands above, then run the same command again",
        )


def _asked(destinations: tuple[Destination, ...], to: str | None, file: Path) -> list[Destination]:
    from monitor.base.errors import SettingError

    if not destinations:
        raise SettingError(
            f"{file}: nobody is to be told: no [[notices.destinations]]",
            'add [[notices.destinations]] with to = "env:NAME", where NAME holds an Apprise address',
        )
    found = [one for one in destinations if to in (None, one.called)]
    if not found:
        known = ", ".join(one.called for one in destinations)
        raise SettingError(f'{file}: no destination is called "{to}"', f"known: {known}")
    return found


def _line(destination: Destination, outcome: Outcome) -> str:
    from monitor.base.errors import printable

    if outcome.fate == "sent":
        told = ", ".join(destination.priorities) or "no alarms"
        return printable(f"{destination.called}: taken. It is told: {told}{'; summaries' * destination.summaries}.")
    what = "perhaps taken" if outcome.fate == "unsure" else "not taken"
    return printable(f"{destination.called}: {what}: {outcome.why}.")
