"""Limits made by hand, and rules that ask every quantity there is, with short delays, so that any log moves them."""

from __future__ import annotations

from typing import Any

from monitor.limits.quantities import QUANTITIES
from monitor.limits.rules import Limit, Rules

# setpoints that the logs of tests/laws pass now and then
SETPOINTS: dict[str, tuple[float | None, float | None]] = {
    "volts": (14.25, 12.3),
    "charging_volts": (14.25, 14.0),
    "charging_delay": (3.0, None),
    "charging_unsteady": (60.0, None),
    "uncharged": (40.0, None),
    "ripple": (5.0, None),
    "sleep_current": (0.05, None),
    "standing_current": (0.06, None),
    "mean_night_current": (0.02, None),
    "time_to_sleep": (60.0, None),
    "wake_up_rate": (1.0, None),
    "wake_up_length": (3.0, None),
    "wake_up_charge": (0.001, None),
    "night_charge": (0.02, None),
    "days_to_no_start": (None, 400.0),
    "rest_volts": (None, 12.7),
    "decay": (0.1, None),
    "state_of_charge": (None, 0.99),
    "crank_volts_min": (None, 11.0),
    "crank_duration": (0.5, None),
    "failed_starts": (1.0, None),
    "net_balance": (None, 0.0),
    "resistance_rise": (5.0, None),
    "logger_silence": (90.0, None),
    "gap_share": (0.001, None),
}


def limit(quantity: str = "volts", **changes: Any) -> Limit:
    """A limit of a quantity, high at 40 unless said otherwise."""
    usual: dict[str, Any] = {
        "name": quantity.replace("_", "-"),
        "quantity": quantity,
        "unit": QUANTITIES[quantity].unit,
        "high": 40.0 if "low" not in changes else None,
        "low": None,
        "priority": "medium",
        "cause": "A cause.",
        "response": "A response.",
        "source": "a test",
    }
    return Limit(**{**usual, **changes})


def rules(*limits: Limit, name: str = "test") -> Rules:
    return Rules(name, "Made by a test.", limits)


def all_rules(on_delay_s: float = 70.0, **changes: Any) -> Rules:
    """A limit on every quantity that samples hold, and one that yields."""
    each = [
        limit(
            quantity,
            high=high,
            low=low,
            on_delay_s=0.0 if QUANTITIES[quantity].judged == "event" else on_delay_s,
            off_delay_s=40.0,
            window_s=600.0 if QUANTITIES[quantity].windowed else None,
            **changes,
        )
        for quantity, (high, low) in SETPOINTS.items()
    ]
    quick = limit("volts", name="volts-at-once", high=14.1, low=12.0, deadband=0.2, off_delay_s=5.0)
    yielding = limit("night_charge", name="yields", high=0.01, yields_to=("sleep-current", "time-to-sleep"))
    silent = limit("logger_silence", name="silent-at-once", high=45.0)
    return rules(*each, quick, yielding, silent)
