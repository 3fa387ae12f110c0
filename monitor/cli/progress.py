"""A progress bar on stderr for logs that take long; silent when stderr is not a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

QUIET_S = 1.0  # our choice: what is done sooner needs no bar


@contextmanager
def progress_bar() -> Iterator[Callable[[int, int], None] | None]:
    """Give a function (bytes done, bytes in all) that draws the bar, or None where nobody would see it."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("Reading the log"),
        BarColumn(),
        TaskProgressColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        auto_refresh=False,  # drawn from here: no thread, and nothing before QUIET_S
    )
    began = time.monotonic()
    task = bar.add_task("", total=None)

    def show(done: int, total: int) -> None:
        if time.monotonic() - began < QUIET_S:
            return
        bar.start()
        bar.update(task, completed=done, total=total)
        bar.refresh()

    try:
        yield show
    finally:
        bar.stop()
