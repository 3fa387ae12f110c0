"""The example vehicle file shows every key there is, and each of its lines works."""

import re
from pathlib import Path

from monitor.base.documents import load_document
from monitor.base.vehicle import Vehicle

EXAMPLE = Path(__file__).parents[2] / "deploy" / "vehicle.toml"


def test_the_example_loads() -> None:
    assert load_document(EXAMPLE, Vehicle).battery.kind == "efb"


def test_all_its_lines_that_wait_as_comments_load_too(tmp_path: Path) -> None:
    whole = tmp_path / "whole.toml"
    text = EXAMPLE.read_text(encoding="utf-8")
    awake = re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)
    assert awake.count("\n# ") < text.count("\n# ")
    whole.write_text(awake, encoding="utf-8")
    car = load_document(whole, Vehicle)
    assert (car.battery.cranking_standard, car.log.gap_s, car.rules) == ("EN", 30.0, "start-stop-agm")


def test_it_shows_every_key() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    schema = Vehicle.model_json_schema()
    tables = [schema, *schema["$defs"].values()]
    keys = {key for table in tables for key in table.get("properties", {})}
    assert {key for key in keys if not re.search(rf"\b{key}\b", text)} == set()
