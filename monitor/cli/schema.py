"""`keyoff schema`: JSON Schema of the result document, or of the vehicle file or a rules file for an editor."""

from __future__ import annotations

from typing import Annotated

import typer

EXAMPLE = "Example: keyoff schema > result.schema.json"


def schema(
    vehicle: Annotated[bool, typer.Option("--vehicle", help="Describe the vehicle file instead.")] = False,
    rules: Annotated[bool, typer.Option("--rules", help="Describe a rules file instead.")] = False,
) -> None:
    """Print the JSON Schema of the result.

    The result document is what `keyoff replay --json` prints.
    """
    import json

    from monitor.base.errors import SettingError
    from monitor.base.results import Result
    from monitor.base.vehicle import Vehicle
    from monitor.limits.rules_file import RulesFile

    if vehicle and rules:
        raise SettingError("--vehicle and --rules: one schema at a time", "keyoff schema --rules")
    written = Vehicle if vehicle else RulesFile if rules else None
    described = written.model_json_schema() if written else Result.model_json_schema(mode="serialization")
    dialect = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    typer.echo(json.dumps(dialect | described, indent=2))
