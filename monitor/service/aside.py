"""Rare, heavy work in a short-lived process of its own, so that the service does not keep the libraries it needs.

What goes there and what comes back is pickled over the pipes between the two, never told on a command line. The child
says nothing on the service's stderr, gets no signal meant for the service, and does not outlive it.
"""

from __future__ import annotations

import ctypes
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any

from monitor.base.errors import KeyoffError, StoreError

AT_ONCE = 4  # our choice: each takes some 100 MiB while it works; one that hangs should not hold up all others
OURS = "monitor."
# As the command line sets them: one thread for linear algebra, no search for plugins, memory given back.
ENVIRONMENT = {
    "OPENBLAS_NUM_THREADS": "1",
    "PYDANTIC_DISABLE_PLUGINS": "__all__",
    "ARROW_DEFAULT_MEMORY_POOL": "system",
}
_CHILD = [sys.executable, "-P", "-c", "from monitor.service.aside import main; main()"]
_ENDINGS = (signal.SIGTERM, signal.SIGINT)
_PDEATHSIG = 1  # PR_SET_PDEATHSIG of sys/prctl.h

_slots = threading.BoundedSemaphore(AT_ONCE)
_running: set[subprocess.Popen[bytes]] = set()


def call(function: str, *args: Any, timeout_s: float) -> Any:
    """The result of `function` ("monitor.room.module:name") with these arguments, worked out in another process.

    A KeyoffError there is raised here as it was; StoreError when the process died, took longer than `timeout_s`
    (it is killed), or met a fault of the program. Waits while AT_ONCE others are at work.
    """
    if not function.startswith(OURS):
        raise ValueError(f"only functions of ours are called aside, not {function}")
    asked = pickle.dumps((function, args))
    with _slots, _child(function) as process:
        try:
            said, _ = process.communicate(asked, timeout_s)
        except subprocess.TimeoutExpired as late:
            raise _failed(function, f"took longer than {timeout_s:g} s") from late
        if process.returncode:
            raise _failed(function, f"ended with {process.returncode}")
    done, value = pickle.loads(said)
    if done:
        return value
    if isinstance(value, str):
        raise _failed(function, f"broke off: {value}, a fault of the program itself")
    raise _as_it_was(*value)


def end() -> None:
    """Kill what is at work; may be called by any thread."""
    for process in list(_running):
        process.kill()


@contextmanager
def _child(function: str) -> Iterator[subprocess.Popen[bytes]]:
    """A child that waits for its work; gone afterwards, whatever happened."""
    # It inherits what this thread does not take: the service manager's SIGTERM goes to each process, and work that is
    # cut off while the service still runs would be told as failed, instead of being done after the next start.
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _ENDINGS)
    try:
        process = subprocess.Popen(
            _CHILD,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **ENVIRONMENT},
        )
    except OSError as wrong:
        raise _failed(function, f"cannot be started: {wrong.strerror}") from wrong
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    with process:
        _running.add(process)
        try:
            yield process
        finally:
            process.kill()
            process.wait()
            _running.discard(process)


def _failed(function: str, how: str) -> StoreError:
    return StoreError(
        f"the process of its own for {function.removeprefix(OURS)} {how}",
        "it is tried again at its next time; see to the memory and the load of this computer",
        "failing",
    )


def _as_it_was(kind: type[KeyoffError], args: tuple[Any, ...], fields: dict[str, Any]) -> KeyoffError:
    """An error told by the child; made without its constructor, which asks for more than its arguments."""
    wrong = kind.__new__(kind, *args)
    vars(wrong).update(fields)
    return wrong


def main() -> None:
    """What the child does: one piece of work from stdin, its outcome to stdout."""
    with suppress(AttributeError, OSError):  # another system than Linux: it ends by itself once it has done its work
        ctypes.CDLL(None).prctl(_PDEATHSIG, signal.SIGKILL)
    with os.fdopen(os.dup(1), "wb") as answer:
        os.dup2(2, 1)  # what a library prints is no part of the answer
        function, args = pickle.load(sys.stdin.buffer)
        answer.write(_outcome(function, args))
    os._exit(0)  # the taking apart of libraries takes time and can go wrong


def _outcome(function: str, args: tuple[Any, ...]) -> bytes:
    """Pickled: (True, result), (False, a KeyoffError in parts) or (False, the kind of another fault)."""
    try:
        return pickle.dumps((True, _named(function)(*args)))
    except KeyoffError as wrong:
        return pickle.dumps((False, (type(wrong), wrong.args, vars(wrong))))
    except Exception as fault:  # noqa: BLE001 - its kind is told to the service; its words could hold a secret
        return pickle.dumps((False, type(fault).__name__))


def _named(function: str) -> Callable[..., Any]:
    module, _, name = function.partition(":")
    if not module.startswith(OURS):
        raise ValueError("only functions of ours are called aside")
    found: Callable[..., Any] = getattr(import_module(module), name)
    return found
