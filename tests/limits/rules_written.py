"""Rules files written by a test, loaded as a person's are."""

from pathlib import Path

from monitor.base.vehicle import Battery, Vehicle
from monitor.limits.rules import Limit, Rules
from monitor.store.rules_files import load_rules

MINE = """\
[limits.mine]
quantity = "sleep_current"
high = "50 mA"
priority = "medium"
cause = "It draws."
response = "Look."
"""


def load(folder: Path, text: str, battery: Battery | None = None) -> Rules:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return load_rules(Vehicle(battery=battery or Battery()), None, str(path))


def limit(folder: Path, text: str, battery: Battery | None = None, name: str = "mine") -> Limit:
    return next(one for one in load(folder, text, battery).limits if one.name == name)
