"""What the tables of a settings file share: strictness, names, numbers above zero, secrets that are never shown."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints
from pydantic_core import PydanticCustomError


class Strict(BaseModel):
    """A part of a settings file: unknown keys are refused, values are frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_by_name=True, validate_by_alias=True)


def _above_zero(value: float) -> float:
    if value <= 0:
        raise PydanticCustomError("positive", "expected more than zero")
    return value


def _not_negative(value: float) -> float:
    if value < 0:
        raise PydanticCustomError("positive", "expected zero or more")
    return value


Name = Annotated[str, StringConstraints(min_length=1, max_length=100, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
Above = AfterValidator(_above_zero)
NotNegative = AfterValidator(_not_negative)


def _pointer(text: str) -> str:
    kind, _, rest = text.partition(":")
    if kind not in ("env", "file") or not rest:
        raise PydanticCustomError(
            "secret", 'expected where the secret is kept, "env:NAME" or "file:/path"; it is never written here'
        )
    return text


# A secret is named, never written: "env:NAME" or "file:PATH". `monitor.base.secrets.reveal` reads it where it is used.
SecretPlace = Annotated[str, StringConstraints(max_length=500), AfterValidator(_pointer)]
