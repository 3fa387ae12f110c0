"""Small text files that a person writes by hand: read whole, with plain errors for all that can be wrong with them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import tzinfo

    from monitor.base.results import Mark

MARKS_BYTES = 262_144  # our choice: marks are a page; a log named by mistake is refused at once


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


def marks_in(path: Path, zone: tzinfo) -> list[Mark]:
    """Marks of a TOML or CSV file, in time order; times without a zone are read in `zone`."""
    from monitor.assess.marks import MarksFile, marks_of, read_marks_csv
    from monitor.base.documents import load_document

    if path.suffix.lower() != ".csv":
        return marks_of(load_document(path, MarksFile).marks, zone, str(path))
    return read_marks_csv(small_text(path, MARKS_BYTES, "a file of marks"), str(path), zone)
