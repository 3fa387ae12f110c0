"""A plain scenario to vary: one night, a drive in the morning, a second stand."""

from collections.abc import Callable
from datetime import UTC, datetime, time
from typing import Any

import pytest

from monitor.simulate import Scenario

Make = Callable[..., Scenario]


@pytest.fixture(scope="session")
def make() -> Make:
    """Builds the plain scenario with whole tables or single fields replaced: make(days=1.0, logger={"rate": 10.0})."""

    def build(**changes: Any) -> Scenario:
        data: dict[str, Any] = {
            "start": datetime(2025, 3, 3, 18, tzinfo=UTC),
            "days": 0.75,
            "seed": 5,
            "vehicle": {},
            "logger": {},
            "trips": [{"at": time(20, 0), "duration": 1200.0}, {"at": time(7, 0), "duration": 1500.0}],
        }
        exact = {"amps_noise": 0.0, "volts_noise": 0.0, "amps_resolution": 0.0, "volts_resolution": 0.0, "rate": 1.0}
        for key, value in changes.items():
            data[key] = value
        data["logger"] = exact | data["logger"]
        return Scenario.model_validate(data)

    return build
