"""The laws as checks: each raises BrokenLawError, with what it saw, when a subject breaks it."""

from __future__ import annotations

from collections.abc import Iterable

from tests.laws.logs import Log
from tests.laws.subjects import Subject


class BrokenLawError(AssertionError):
    """What was told breaks a law."""


def check_cut(kind: type[Subject], log: Log, cuts: Iterable[int]) -> None:
    """However the log is cut, what is told is the same to the last bit; at each of the cuts, too."""
    cut, begin = kind(log), 0
    positions = sorted(cuts)
    for k, end in enumerate([*positions, kind.length(log)]):
        cut.feed(begin, end)
        begin = end
        if len(positions) < 3 or k == len(positions):  # what is said along the way counts as well
            whole = kind(log)
            whole.feed(0, end)
            _same(f"{log.name}, cut at {positions}, up to {end}", cut.text(), whole.text())


def check_resume(kind: type[Subject], log: Log, stops: Iterable[int]) -> None:
    """Saved, and restored in a fresh detector, it goes on as if it had never stopped."""
    resumed, whole, begin = kind(log), kind(log), 0
    for stop in sorted(stops):
        resumed.feed(begin, stop)
        whole.feed(begin, stop)
        saved = resumed.saved()
        resumed.resume(saved)
        _same(f"{log.name}, memory at {stop}", resumed.saved(), saved)
        begin = stop
    resumed.feed(begin, kind.length(log))
    whole.feed(begin, kind.length(log))
    _same(f"{log.name}, resumed", resumed.text(), whole.text())


def check_pure(kind: type[Subject], log: Log) -> None:
    """Asking what is known so far changes nothing."""
    subject, middle = kind(log), kind.length(log) // 2
    subject.feed(0, middle)
    before = subject.saved()
    first, second = subject.text(), subject.text()
    _same(f"{log.name}, asked twice", first, second)
    _same(f"{log.name}, memory before and after", subject.saved(), before)


def check_bounded(kind: type[Subject], short: Log, long: Log, rest_bytes: int, piece: int = 500) -> None:
    """The memory after a long log is no larger than after a short one, but for `rest_bytes`."""
    sizes = []
    for log in (short, long):
        subject, largest = kind(log), 0
        for begin in range(0, kind.length(log), piece):
            subject.feed(begin, min(begin + piece, kind.length(log)))
            subject.told.clear()
            largest = max(largest, len(subject.saved()))
        sizes.append(largest)
    if sizes[1] > sizes[0] + rest_bytes:
        raise BrokenLawError(f"{kind.__name__}: {sizes[0]} bytes after {short.name}, {sizes[1]} after {long.name}")


def _same(where: str, found: str, wanted: str) -> None:
    if found != wanted:
        shorter = min(len(found), len(wanted))
        at = next((k for k in range(shorter) if found[k] != wanted[k]), shorter)
        part = slice(max(at - 80, 0), at + 80)
        raise BrokenLawError(f"{where}: differs at {at}:\n  …{found[part]}\n  …{wanted[part]}")
