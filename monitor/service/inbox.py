"""Orders from other processes: one JSON file each in the vehicle's inbox, put there whole, answered beside it.

The service carries each out once, at its place among the samples, and says in an answer what came of it. Without a
running service an order waits in the inbox.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from monitor.base.errors import InputError
from monitor.base.orders import Order
from monitor.store.home import Home

ENDING, ANSWER = ".order", ".answer"
LARGEST_BYTES = 65_536  # our choice: far beyond any order a person gives
AT_ONCE = 100  # orders taken at one look; our choice
LOOK_S = 0.05
ANSWERS_KEPT_S = 3600.0  # our choice: an answer that nobody fetched within an hour is thrown away


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of an order: done or not, and one sentence."""

    done: bool
    text: str


def put(home: Home, order: Order) -> None:
    """Leave an order; it is there whole or not at all. Raises InputError when the folder cannot be written."""
    _write(home.inbox, order.id + ENDING, order.model_dump_json())


def waiting(home: Home) -> list[tuple[Path, Order | str]]:
    """The oldest orders that wait, in the order they were given; in place of one that is none, why."""
    try:
        files = sorted(home.inbox.glob(f"*{ENDING}"))[:AT_ONCE]
    except OSError:
        return []
    return [(file, _read(file)) for file in files]


def settle(home: Home, file: Path, answer: Answer) -> None:
    """Leave the answer and take the order away."""
    _write(home.inbox, file.stem + ANSWER, json.dumps({"done": answer.done, "text": answer.text}))
    file.unlink(missing_ok=True)


def await_answer(
    home: Home,
    order: Order,
    wait_s: float,
    clock: Callable[[], float] = time.monotonic,
    rest: Callable[[float], None] = time.sleep,
) -> Answer | None:
    """The answer to an order, or None when none came within `wait_s`."""
    file = home.inbox / (order.id + ANSWER)
    deadline = clock() + wait_s
    while True:
        try:
            told = json.loads(file.read_text(encoding="utf-8"))
            file.unlink(missing_ok=True)
            return Answer(bool(told["done"]), str(told["text"]))
        except (OSError, ValueError, KeyError, TypeError):
            if clock() >= deadline:
                return None
            rest(LOOK_S)


def forget_answers(home: Home, now_s: float) -> None:
    """Throw away answers that nobody fetched."""
    for file in home.inbox.glob(f"*{ANSWER}"):
        try:
            if now_s - file.stat().st_mtime > ANSWERS_KEPT_S:
                file.unlink()
        except OSError:
            continue


def _read(file: Path) -> Order | str:
    try:
        with file.open("rb") as opened:
            raw = opened.read(LARGEST_BYTES + 1)
        if len(raw) > LARGEST_BYTES:
            return "too large for an order"
        return Order.model_validate_json(raw)
    except ValidationError as wrong:
        first = wrong.errors(include_url=False)[0]
        return f"no order: {'.'.join(map(str, first['loc'])) or 'the file'}: {first['msg']}"
    except OSError as wrong:
        return f"cannot be read: {wrong.strerror}"


def _write(folder: Path, name: str, text: str) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        new = folder / f".{name}.{os.getpid()}"
        new.write_text(text, encoding="utf-8")
        new.replace(folder / name)
    except OSError as wrong:
        raise InputError(
            f"{folder}: cannot be written: {wrong.strerror}", "run this as the user whom the service runs as"
        ) from wrong
