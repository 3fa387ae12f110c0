"""The vehicle and its limits as the service knew them last, kept beside the samples: who reads them needs no file."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from monitor.base.vehicle import Vehicle
from monitor.limits.rules import Rules
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader

FACT = "settings"
# what says how to understand samples; not where they come from, nor who is told
ABOUT_SAMPLES: dict[str, Any] = {
    "name": True,
    "battery": True,
    "log": {"time": {"zone"}, "zero_offset_a": True, "gap_s": True},
    "vehicle": {"cylinders"},
}


class Settings(BaseModel):
    """What a replay needs: the vehicle without its links and the name of its rules, and the limits themselves."""

    model_config = ConfigDict(extra="forbid")

    vehicle: Vehicle
    rules: Rules


def settings_of(vehicle: Vehicle, rules: Rules) -> Settings:
    """The part of a vehicle's settings that is kept."""
    about = Vehicle.model_validate(vehicle.model_dump(include=ABOUT_SAMPLES), by_name=True)
    return Settings(vehicle=about, rules=rules)


def keep_settings(journal: Journal, vehicle: Vehicle, rules: Rules) -> None:
    """Note them, where they are not yet; raises StoreError."""
    text = settings_of(vehicle, rules).model_dump_json(exclude_defaults=True)
    if journal.fact(FACT) != text:
        journal.note_fact(FACT, text)


def kept_settings(reader: JournalReader) -> Settings | None:
    """What the service noted last; None where it noted nothing, or what this version cannot read."""
    text = reader.fact(FACT)
    try:
        return None if text is None else Settings.model_validate_json(text)
    except ValidationError:
        return None
