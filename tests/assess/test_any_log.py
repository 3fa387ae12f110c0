"""Whatever the log, the assessment stands: no crash, intervals that hold their value, nothing made of no current."""

from zoneinfo import ZoneInfo

import pytest

from monitor.assess import assess
from monitor.base.ledger import Ledger
from monitor.base.results import Result
from monitor.base.vehicle import Battery, Vehicle
from monitor.detect import Engine
from tests.laws.logs import busy, random_log, with_holes, without_amps

ZONE = ZoneInfo("Australia/Adelaide")  # half an hour off, with daylight saving
VEHICLES = [
    Vehicle(),
    Vehicle(battery=Battery(kind="lifepo4", capacity_ah=60.0)),
    Vehicle(battery=Battery(kind="agm", nominal_v=24.0, reserve_s=6000.0)),
]


def assessed(log, vehicle, size=None):
    engine, ended = Engine(log.facts), []
    step = size or max(len(log.block), 1)
    for begin in range(0, len(log.block), step):
        ended += engine.update(log.block[begin : begin + step])
    return assess(engine.document(ended, Ledger()), vehicle, ZONE)


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("vehicle", VEHICLES, ids=["unknown", "lifepo4", "24 V"])
def test_every_interval_holds_its_value_and_the_document_is_valid(seed, vehicle):
    found = assessed(random_log(seed), vehicle)
    Result.model_validate_json(found.model_dump_json())
    battery = found.battery
    if battery is None:
        return
    if battery.state_of_charge is not None:
        low, high = battery.state_of_charge_low, battery.state_of_charge_high
        assert 0 <= low <= battery.state_of_charge <= high <= 1
    for estimate in (battery.capacity_ah, battery.days_to_no_start):
        assert estimate is None or estimate.low <= estimate.value <= estimate.high


def test_an_assessed_document_does_not_depend_on_the_cut():
    log = with_holes(busy(1.0))
    whole = assessed(log, VEHICLES[0]).model_dump_json()
    assert all(assessed(log, VEHICLES[0], size).model_dump_json() == whole for size in (977, 10_000))


def test_a_log_without_current_gets_no_charge_and_no_drain():
    found = assessed(without_amps(busy(1.0)), VEHICLES[0])
    assert found.balance
    assert all(day.in_ah is None and day.out_ah is None and day.net_ah is None for day in found.balance)
    assert found.wake_up_groups == []
    assert found.battery.days_to_no_start is None
    assert found.battery.capacity_ah is None
    assert not any("Ah" in text for text in found.battery.statements)


def test_nothing_logged_is_nothing_assessed():
    assert assess(Result(), Vehicle(), ZONE).battery is None
