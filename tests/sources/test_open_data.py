"""Recorded open data sets, as published.

leadacid17ah_telemetry: github.com/valentinsulzer/faster-lead-acid (BSD-3-Clause), telemetry of a 17 Ah battery, 2017.
car_obd_module_voltage: two cars' control-module voltage (MIT), decoded by the formulas of SAE J1979.
The counts are taken from the files with the csv module of the standard library.
"""

import csv
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from tests.sources.conftest import read_all


def test_the_battery_telemetry_is_read_whole(open_data: Path) -> None:
    path = next((open_data / "leadacid17ah_telemetry").glob("*.csv"))
    settings = LogSettings.model_validate({"amps": {"positive": "discharge"}})
    whole = read_all(open_logs([path], settings))
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert whole.ledger.samples == len(rows)
    assert whole.ledger.refused == {}
    assert (whole.ledger.duplicates, whole.ledger.clock_steps) == (0, [])
    assert whole.ledger.reordered == 32  # the steps back of at most 0.6 s that its description names
    assert np.count_nonzero(np.isnan(whole.volts)) == 495  # rows with a temperature only
    expected = sorted((datetime.fromisoformat(row["time"]).replace(tzinfo=UTC), row) for row in rows if row["voltage"])
    bears = ~np.isnan(whole.volts)
    assert whole.volts[bears].tolist() == [float(row["voltage"]) for _, row in expected]
    assert whole.amps is not None
    assert whole.amps[bears].tolist() == [-float(row["current"]) for _, row in expected]
    assert whole.t_us[bears].tolist() == [round(time.timestamp() * 1e6) for time, _ in expected]


@pytest.mark.parametrize("name", ["car_a_drive1.csv", "car_b_drive1.csv"])
def test_the_cars_give_their_volts_and_pass_over_the_rest(open_data: Path, name: str) -> None:
    path = open_data / "car_obd_module_voltage" / name
    whole = read_all(open_logs([path], LogSettings()))
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    bearing = [row for row in rows if row["module_voltage_v"]]
    assert whole.log.channels == ("volts",)
    assert whole.log.relative
    assert whole.volts.tolist() == [float(row["module_voltage_v"]) for row in bearing]
    assert whole.log.others == len(rows) - len(bearing)
    assert whole.ledger.refused == {}
