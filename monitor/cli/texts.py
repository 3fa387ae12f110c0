"""Small text files that a person writes by hand: read whole, with plain errors for all that can be wrong with them."""

from __future__ import annotations

from pathlib import Path


def small_text(path: Path, largest_bytes: int, what: str) -> str:
    """The text of the UTF-8 file `path`; raises InputError, saying that `what` was expected."""
    from monitor.base.errors import InputError

    try:
        with path.open("rb") as file:
            raw = file.read(largest_bytes + 1)
    except (OSError, ValueError) as wrong:  # ValueError: a path with a zero byte
        why = "no such file" if isinstance(wrong, FileNotFoundError) else f"cannot be read: {wrong}"
        raise InputError(f"{path}: {why}", f"name {what} that you may read") from wrong
    if len(raw) > largest_bytes:
        raise InputError(f"{path}: too large for {what}", f"name {what}; a log goes to keyoff replay")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        line = raw.count(b"\n", 0, wrong.start) + 1
        raise InputError(f"{path}, line {line}: not UTF-8 text", "save the file as UTF-8") from wrong
