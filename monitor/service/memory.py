"""Memory of a process with many threads. GNU's allocator keeps pools of its own for each thread, most of it unused."""

from __future__ import annotations

import ctypes
from contextlib import suppress

ARENA_MAX = -8  # M_ARENA_MAX of malloc.h


def one_pool() -> None:
    """Let all threads share one pool, before the first of them starts. Does nothing where the allocator is another."""
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).mallopt(ARENA_MAX, 1)


def give_back() -> None:
    """Return to the system what is free; measured, 4 MiB after a start that had a backlog. Takes a few ms."""
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)
