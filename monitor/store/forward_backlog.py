"""What the forwarder asks of the journal: its records in order, and a cursor that says what a server has of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from monitor.store.entries import Cursor, Page

CURSOR = "database"  # the forwarder's name in the journal

Rejected = tuple[str, str]  # a line as it was sent, and the server's reason


class Backlog(Protocol):
    """A reader of the journal; used by one thread."""

    def cursor(self, name: str) -> Cursor:
        """The place of that sink; the beginning for one that is not known."""

    def page(self, after: int, limit: int, together: bool = False) -> Page:
        """The next records after a position; `together`: samples of many in few."""

    def close(self) -> None:
        """Let go of the journal."""


@dataclass(frozen=True, slots=True)
class Step:
    """A move of the cursor: journalled whole, or not at all.

    position  the server has all up to here
    state     what the forwarder remembers there
    lost      samples that were gone before it came to them
    """

    position: int
    state: str
    lost: int
    rejected: Sequence[Rejected]


Move = Callable[[Step], None]
