"""The exception tree: every error a person can meet says what was tried, what happened and what to do.

KeyoffError
├── InputError        a log, a stream or a survey that cannot be read
└── SettingError      a vehicle file, rules or an option that cannot be used
"""

from __future__ import annotations


class KeyoffError(Exception):
    """Base of all errors shown to a person: `what` happened, and `remedy`, what to do about it.

    >>> str(InputError("night.csv: no column holds volts", "name it: [log] volts = \\"COLUMN\\""))
    'night.csv: no column holds volts'
    """

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


class InputError(KeyoffError):
    """A log, stream or survey cannot be read: file and line, what was expected, what was found."""


class SettingError(KeyoffError):
    """A vehicle file, a rules file or an option is unusable: file, line, key, what was expected, the nearest known."""
