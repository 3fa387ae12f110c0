"""The exception tree: every error a person can meet says what was tried, what happened and what to do.

KeyoffError
├── InputError        a log, a stream or a survey that cannot be read
├── SettingError      a vehicle file, rules or an option that cannot be used
└── StoreError        a journal or an archive that cannot be opened, read or written; `kind` says which way
"""

from __future__ import annotations

from typing import Literal

StoreFault = Literal["disk_full", "read_only", "held", "newer", "damaged", "missing", "failing"]


class KeyoffError(Exception):
    """Base of all errors shown to a person: `what` happened, and `remedy`, what to do about it.

    Each is one printable line: what a file or a name holds can neither break the line nor command a terminal.

    >>> str(InputError("night.csv: no column holds volts", "name it: [log] volts = \\"COLUMN\\""))
    'night.csv: no column holds volts'
    """

    def __init__(self, what: str, remedy: str) -> None:
        self.what = printable(what)
        self.remedy = printable(remedy)
        super().__init__(self.what)


class InputError(KeyoffError):
    """A log, stream or survey cannot be read: file and line, what was expected, what was found."""


class SettingError(KeyoffError):
    """A vehicle file, a rules file or an option is unusable: file, line, key, what was expected, the nearest known."""


class StoreError(KeyoffError):
    """The journal or the archive cannot be used.

    kind   disk_full: no room, comes back by itself; read_only: may not be written; held: another process writes it;
           newer: written by a later version; damaged: unreadable bytes; missing: not there; failing: the disk's fault
    """

    def __init__(self, what: str, remedy: str, kind: StoreFault) -> None:
        super().__init__(what, remedy)
        self.kind: StoreFault = kind


def printable(text: str) -> str:
    """The text with "?" for line ends, control characters and whatever else cannot be printed.

    >>> printable("a\\x1b[31mb")
    'a?[31mb'
    """
    return "".join(c if c.isprintable() else "?" for c in text)
