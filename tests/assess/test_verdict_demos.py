"""The verdicts on the demo logs, which say in their scenario what is wrong."""

from pathlib import Path

import pytest

from monitor.assess.verdict import judge
from monitor.base.documents import load_document
from monitor.base.ledger import Ledger
from monitor.base.vehicle import Battery, Vehicle
from monitor.detect import Facts, replay
from monitor.simulate import Scenario
from monitor.sources import open_logs
from tests.scoreboard.verdicts import assessed

FOLDER = Path(__file__).parents[2] / "replay_logs"
RIGHT = {
    "module-wakes": "sound",  # its module keeps to the published telematics pattern, 35 mA on average
    "repair-half-way": "drain",
    "short-trips": "usage",
    "sound-week": "sound",
    "stops-sleeping": "drain",
    "undercharging": "charging",
    "weak-battery": "battery",
}


@pytest.mark.parametrize("name", RIGHT)
def test_a_demo_log_is_judged_as_its_scenario_says(name: str) -> None:
    battery = load_document(FOLDER / f"{name}.toml", Scenario).battery
    car = Vehicle(battery=Battery(kind=battery.kind, nominal_v=battery.nominal, capacity_ah=battery.capacity))
    log = open_logs([FOLDER / f"{name}.csv.gz"], car.log, nominal_v=battery.nominal)
    found = assessed(replay(log.blocks(), log.ledger or Ledger(), Facts.of(car)), car)
    assert judge(found, car).cause == RIGHT[name]
