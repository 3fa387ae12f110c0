"""Reads ahead in a thread: parsing, which releases the interpreter lock, overlaps what is done with the rows."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Generator
from dataclasses import dataclass
from typing import TypeVar

Item = TypeVar("Item")

DEPTH = 2  # items kept ready; our choice: enough to overlap, little enough to stay small


@dataclass(frozen=True, slots=True)
class _Failed:
    error: BaseException


class _End:
    """Nothing follows."""


def read_ahead(items: Generator[Item, None, None], depth: int = DEPTH) -> Generator[Item, None, None]:
    """The same items in the same order, produced by a thread; an error there is raised here.

    Stopping early (or an error in the consumer) ends the thread and closes `items`.
    """
    ready: queue.Queue[Item | _Failed | _End] = queue.Queue(maxsize=depth)
    stop = threading.Event()

    def produce() -> None:
        last: _Failed | _End = _End()
        try:
            for item in items:
                ready.put(item)
                if stop.is_set():
                    break
        except BaseException as error:  # noqa: BLE001 - handed to the consumer, whatever it is
            last = _Failed(error)
        finally:
            items.close()
        if not stop.is_set():
            ready.put(last)

    thread = threading.Thread(target=produce, name="keyoff-read-ahead", daemon=True)
    thread.start()
    try:
        while True:
            item = ready.get()
            if isinstance(item, _End):
                return
            if isinstance(item, _Failed):
                raise item.error
            yield item
    finally:
        stop.set()
        with contextlib.suppress(queue.Empty):  # makes room for the one item that may be on its way
            while True:
                ready.get_nowait()
        thread.join()
