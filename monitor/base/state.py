"""Engine state as a plain document: what `to_plain` writes as JSON, `from_plain` restores to the last bit.

A detector keeps all it remembers in one dataclass; arrays, nested dataclasses and result models may appear in it.
Arrays travel as base64 of their bytes, floats as Python's shortest exact text, so a restored engine goes on
byte for byte as if it had never stopped.
"""

from __future__ import annotations

import base64
import importlib
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
from pydantic import BaseModel

VERSION = 1


def to_plain(value: Any) -> Any:
    """JSON-ready copy of a value made of plain data, arrays, dataclasses and result models of this program.

    >>> from_plain(to_plain({"x": np.array([0.1])}))["x"].tolist()
    [0.1]
    """
    if value is None or isinstance(value, bool | int | float | str):
        return value.item() if isinstance(value, np.generic) else value
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return {"!array": value.dtype.str, "data": base64.b64encode(np.ascontiguousarray(value).tobytes()).decode()}
    if isinstance(value, tuple):
        return {"!tuple": [to_plain(v) for v in value]}
    if isinstance(value, list):
        return [to_plain(v) for v in value]
    if isinstance(value, dict):
        return {"!dict": [[to_plain(k), to_plain(v)] for k, v in value.items()]}
    name = f"{type(value).__module__}:{type(value).__qualname__}"
    if is_dataclass(value) and not isinstance(value, type):
        return {"!object": name, "fields": {f.name: to_plain(getattr(value, f.name)) for f in fields(value)}}
    if isinstance(value, BaseModel):
        return {"!model": name, "fields": {k: to_plain(getattr(value, k)) for k in type(value).model_fields}}
    raise TypeError(f"{name} cannot be part of a state")


def from_plain(plain: Any) -> Any:
    """The value that `to_plain` wrote; raises TypeError on a class outside this program."""
    if isinstance(plain, list):
        return [from_plain(v) for v in plain]
    if not isinstance(plain, dict):
        return plain
    if "!array" in plain:
        return np.frombuffer(base64.b64decode(plain["data"]), dtype=plain["!array"]).copy()
    if "!tuple" in plain:
        return tuple(from_plain(v) for v in plain["!tuple"])
    if "!dict" in plain:
        return {from_plain(k): from_plain(v) for k, v in plain["!dict"]}
    kind = _class(plain["!object"] if "!object" in plain else plain["!model"])
    parts = {k: from_plain(v) for k, v in plain["fields"].items()}
    return kind(**parts) if "!object" in plain else kind.model_construct(**parts)


def _class(name: str) -> Any:
    module, _, qualname = name.partition(":")
    if module.split(".")[0] != "monitor":
        raise TypeError(f"{name} is not a class of this program")
    found: Any = importlib.import_module(module)
    for part in qualname.split("."):
        found = getattr(found, part)
    return found
