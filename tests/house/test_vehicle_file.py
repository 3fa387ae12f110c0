"""The example vehicle files show every key there is, and each of their lines works."""

import re
from pathlib import Path

from monitor.base.documents import load_document
from monitor.base.vehicle import Vehicle

EXAMPLE = Path(__file__).parents[2] / "deploy" / "vehicle.toml"
SERVICE = EXAMPLE.with_name("watch.toml")


def test_the_example_loads() -> None:
    assert load_document(EXAMPLE, Vehicle).battery.kind == "efb"


def awake(example: Path, tmp_path: Path) -> Vehicle:
    """The example with the lines that wait as comments."""
    text = example.read_text(encoding="utf-8")
    whole = re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)
    assert whole.count("\n# ") < text.count("\n# ")
    (tmp_path / "whole.toml").write_text(whole, encoding="utf-8")
    return load_document(tmp_path / "whole.toml", Vehicle)


def test_all_lines_that_wait_as_comments_load_too(tmp_path: Path) -> None:
    car = awake(EXAMPLE, tmp_path)
    assert (car.battery.cranking_standard, car.log.gap_s, car.rules) == ("EN", 30.0, "start-stop-agm")


def test_the_services_example_loads_with_and_without_its_comments(tmp_path: Path) -> None:
    assert load_document(SERVICE, Vehicle).source is not None
    assert awake(SERVICE, tmp_path).instrument is not None


def test_they_show_every_key() -> None:
    text = EXAMPLE.read_text(encoding="utf-8") + SERVICE.read_text(encoding="utf-8")
    schema = Vehicle.model_json_schema()
    tables = [schema, *schema["$defs"].values()]
    keys = {key for table in tables for key in table.get("properties", {})}
    assert {key for key in keys if not re.search(rf"\b{key}\b", text)} == set()
