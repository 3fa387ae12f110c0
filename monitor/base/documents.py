"""Settings files: TOML in, a validated model out, and one plain error for all that can be wrong with such a file."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from monitor.base.errors import SettingError
from monitor.base.quantities import WRITTEN
from monitor.base.secrets import HIDDEN

Model = TypeVar("Model", bound=BaseModel)
Key = tuple[str | int, ...]

LARGEST_BYTES = 65_536  # our choice: a settings file is a page or two; a log named by mistake is refused at once
PLACED = 20  # faults of one file that are looked up by line to find the first; our choice
FOUND_SHOWN = 60  # characters shown of a refused value


def load_document(path: Path, model: type[Model]) -> Model:
    """Read the TOML file `path` as `model`; raises SettingError naming file, line, key and what was expected."""
    return read_document(document_text(path), path, model)


def read_document(text: str, path: Path, model: type[Model]) -> Model:
    """The TOML `text` of the file `path` as `model`; raises SettingError as `load_document` does."""
    try:
        data = tomllib.loads(text)
    except RecursionError as wrong:
        raise SettingError(f"{path}: nested too deeply", "write plain tables and keys") from wrong
    except ValueError as wrong:
        raise _syntax_error(path, text, wrong) from wrong
    try:
        return model.model_validate(data, context=WRITTEN, by_alias=True, by_name=False)
    except ValidationError as wrong:
        details = wrong.errors(include_url=False)
        placed = [(key_line(text, _key(detail)), detail) for detail in details[:PLACED]]
        line, first = min(placed, key=lambda pair: pair[0])
        raise _value_error(path, line, first, len(details) - 1, model) from wrong


def key_line(text: str, key: Key) -> int:
    """Line, from 1, on which the value of `key` begins; of its table when the key itself is not there.

    Found with the TOML reader alone: the key stands on the line that completes the shortest readable beginning of the
    file which holds it.

    >>> key_line('name = "van"\\n\\n[battery]\\nnominal = 12\\n', ("battery", "nominal"))
    4
    """
    lines = text.split("\n")

    @cache
    def beginning(count: int) -> tuple[int, dict[str, Any]]:
        """The longest readable beginning of at most `count` lines: its length, and what it says."""
        while count:
            try:
                return count, tomllib.loads("\n".join(lines[:count]) + "\n")
            except ValueError:
                count -= 1
        return 0, {}

    while key and not _holds(beginning(len(lines))[1], key):
        key = key[:-1]
    if not key:
        return 1
    complete = bisect_left(range(len(lines)), True, key=lambda count: _holds(beginning(count)[1], key))
    return beginning(complete - 1)[0] + 1


def _holds(data: Any, key: Key) -> bool:
    for step in key:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return False
    return True


def document_text(path: Path) -> str:
    """The text of a settings file, with plain line ends; raises SettingError when it cannot be read."""
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError as wrong:
        near = _nearest(path.name, _names_beside(path))
        remedy = f'did you mean "{path.with_name(near)}"?' if near else "check the path, or leave the option out"
        raise SettingError(f"{path}: no such file", remedy) from wrong
    except (OSError, ValueError) as wrong:  # ValueError: a path with a zero byte
        why = getattr(wrong, "strerror", None) or str(wrong)
        raise SettingError(f"{path}: cannot be read: {why}", "name a TOML file that you may read") from wrong
    if len(raw) > LARGEST_BYTES:
        raise SettingError(f"{path}: too large for a settings file", "name the TOML file; logs go before the options")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as wrong:
        line = raw.count(b"\n", 0, wrong.start) + 1
        raise SettingError(
            f"{path}, line {line}: not UTF-8 text (byte 0x{raw[wrong.start]:02X})", "save the file as UTF-8"
        ) from wrong


def _names_beside(path: Path) -> list[str]:
    try:
        return [other.name for other in path.parent.iterdir()]
    except OSError:
        return []


def _syntax_error(path: Path, text: str, wrong: ValueError) -> SettingError:
    place = re.search(r"\(at line (\d+), column \d+\)", str(wrong))
    line = int(place[1]) if place else max(1, text.rstrip("\n").count("\n") + 1)
    what = re.sub(r"\s*\(at .*\)$", "", str(wrong)).split(";")[0]
    what = re.sub(r"\('([^)]*)',?\)", lambda key: "[" + key[1].replace("', '", ".").strip("',") + "]", what)
    shown = _shown(re.sub("://.*", "://…", text.split("\n")[line - 1].strip()))  # an address may hold a secret
    return SettingError(
        f"{path}, line {line}: not TOML: {what}; found {shown}",
        'write key = "value", text and quantities in quotes, tables as [battery]',
    )


def _key(detail: ErrorDetails) -> Key:
    inner = detail.get("ctx", {}).get("key")
    return (*detail["loc"], inner) if inner else detail["loc"]


def _value_error(path: Path, line: int, detail: ErrorDetails, others: int, model: type[BaseModel]) -> SettingError:
    key = _key(detail)
    name = ".".join(str(step) for step in key)
    more = f" (and {others} more to mend in this file)" if others else ""
    place = f"{path}, line {line}"
    if detail["type"] == "extra_forbidden":
        known = _known_keys(model, key[:-1])
        where = f"in [{'.'.join(str(step) for step in key[:-1])}]" if key[:-1] else "at the top level"
        near = _nearest(str(key[-1]), known)
        remedy = f'did you mean "{near}"? ' if near else ""
        return SettingError(
            f'{place}: unknown key "{name}"{more}', f"{remedy}known {where}: {', '.join(known) or 'none'}"
        )
    found = "nothing" if detail["type"] == "missing" else _shown(_found(detail))
    known = _choices(detail)
    near = _nearest(str(detail["input"]), known)
    remedy = f'did you mean "{near}"?' if near else f"correct {name} in {path}, or leave it out"
    return SettingError(f"{place}, {name}: {_expected(detail)}; found {found}{more}", remedy)


PLAIN_WORDS = {
    "model_type": "expected a table",
    "string_type": "expected text in quotes",
    "string_too_short": "expected some text",
    "string_pattern_mismatch": "expected text without control characters",
}


def _expected(detail: ErrorDetails) -> str:
    if detail["type"] == "literal_error":
        return "expected one of " + ", ".join(f'"{name}"' for name in _choices(detail))
    return PLAIN_WORDS.get(detail["type"], detail["msg"])


def _found(detail: ErrorDetails) -> Any:
    if detail["type"] == "secret":
        return HIDDEN
    inner = detail.get("ctx", {}).get("key")
    value = detail["input"]
    return value.get(inner, value) if inner and isinstance(value, dict) else value


def _choices(detail: ErrorDetails) -> list[str]:
    context = detail.get("ctx", {})
    return context.get("known") or re.findall(r"'([^']*)'", str(context.get("expected", "")))


def _known_keys(model: type[BaseModel], key: Key) -> list[str]:
    """Keys that may stand in the table at `key`, walking models, and models inside lists and dicts."""
    here: type[BaseModel] | None = model
    for step in key:
        fields = {_written(name, field): field for name, field in here.model_fields.items()} if here else {}
        if isinstance(step, str) and step in fields:
            here = _model_in(fields[step].annotation)
    return sorted(_written(name, field) for name, field in here.model_fields.items()) if here else []


def _written(name: str, field: FieldInfo) -> str:
    return field.validation_alias if isinstance(field.validation_alias, str) else name


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part))), None)


def _nearest(name: str, known: list[str]) -> str | None:
    close = get_close_matches(name.lower(), [k.lower() for k in known], n=1)
    return next((k for k in known if close and k.lower() == close[0]), None)


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = f'"{value}"' if isinstance(value, str) else str(value).lower()
    return text if len(text) <= FOUND_SHOWN else text[: FOUND_SHOWN - 1] + "…"
