"""Secrets by their place: read where they are used, and taken out of every text that is shown."""

from __future__ import annotations

import os
from pathlib import Path

from monitor.base.errors import SettingError

HIDDEN = "(secret)"
_REMEDY = "put the secret there, readable by the service"
LONGEST = 4096  # bytes of a secret's file that are read; our choice


def reveal(place: str) -> str:
    """The secret at "env:NAME" or "file:PATH", without surrounding blanks; SettingError where there is none."""
    kind, _, rest = place.partition(":")
    if kind == "env":
        found = os.environ.get(rest, "").strip()
        if not found:
            raise SettingError(f"{place}: no such variable in the environment", f"set {rest} for the service")
        return found
    try:
        with Path(rest).open("rb") as file:
            found = file.read(LONGEST).decode("utf-8").strip()
    except (OSError, ValueError) as wrong:
        why = getattr(wrong, "strerror", None) or "not UTF-8 text"
        raise SettingError(
            f"{place}: cannot be read: {why}", "put the secret there, readable by the service"
        ) from wrong
    if not found:
        raise SettingError(f"{place}: empty", _REMEDY)
    return found


def without(text: str, *secrets: str) -> str:
    """The text with every occurrence of a secret hidden.

    >>> without("POST tok123 failed", "tok123")
    'POST (secret) failed'
    """
    for secret in sorted((s for s in secrets if s), key=len, reverse=True):
        text = text.replace(secret, HIDDEN)
    return text
