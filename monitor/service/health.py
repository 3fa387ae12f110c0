"""The health file: written whole every few seconds by the service, read by others."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from monitor.base.errors import InputError
from monitor.base.health import Health


def write(file: Path, health: Health) -> None:
    """Write it whole or not at all; a full disk leaves the old one, whose age tells."""
    new = file.with_name(f".{file.name}.new")
    new.write_text(health.model_dump_json(indent=1), encoding="utf-8")
    new.replace(file)


def read(file: Path) -> Health | None:
    """What the service last wrote; None when it never did. Raises InputError on a file that is none of ours."""
    try:
        return Health.model_validate_json(file.read_bytes())
    except FileNotFoundError:
        return None
    except ValidationError as wrong:
        raise InputError(
            f"{file}: not a health file of this version", "restart the service, so that it writes a new one"
        ) from wrong
    except OSError as wrong:
        raise InputError(
            f"{file}: cannot be read: {wrong.strerror}", "run this as the user whom the service runs as"
        ) from wrong
