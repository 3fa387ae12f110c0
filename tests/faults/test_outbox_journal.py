"""Notices from the real journal to a real listener: restarts and kill -9 between any two of their steps."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC
from pathlib import Path
from typing import Any

from monitor.base.tables.notices import NoticesTable
from monitor.service.outbox import OutboxWorker
from monitor.store.home import Home
from monitor.store.journal import Entry, Journal
from monitor.store.reader import JournalReader
from tests.service.post_office import Listener, letter

DEADLINE_S = 60.0  # far beyond what any of this takes; reached only when something hangs


def until(true: Callable[[], bool], what: str) -> None:
    end = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end, f"waited in vain for: {what}"
        threading.Event().wait(0.02)


def table(folder: Path, address: str) -> NoticesTable:
    (folder / "address").write_text(address, encoding="utf-8")
    return NoticesTable.model_validate({"destinations": [{"to": f"file:{folder / 'address'}", "name": "phone"}]})


@contextmanager
def service(folder: Path, places: NoticesTable) -> Iterator[tuple[OutboxWorker, Callable[[Any], Future[Any]]]]:
    """Journal, keeper's thread and delivery, as one start of the service."""
    home = Home(folder / "data")
    home.folder.mkdir(exist_ok=True)
    with ThreadPoolExecutor(1) as keeper:
        journal = keeper.submit(Journal, home).result()

        def post(work: Callable[[Journal], Any]) -> Future[Any]:
            return keeper.submit(work, journal)

        worker = OutboxWorker(
            places, UTC, reader=lambda: JournalReader(home), post=post, clock=lambda: time.time_ns() // 1000
        )
        worker.start()
        yield worker, post
        worker.stop()
        keeper.submit(journal.close).result()


def state_of(folder: Path, key: str) -> str:
    with JournalReader(Home(folder / "data")) as reader:
        kept = reader.letter(key)
    return "none" if kept is None else kept.state


def now() -> int:
    return time.time_ns() // 1000


def test_letters_of_a_transaction_arrive_once_over_restarts(tmp_path: Path) -> None:
    with Listener() as hook:
        places = table(tmp_path, hook.url())
        entry = Entry(letters=[letter("a", due_us=now()), letter("b", due_us=now())])
        for _ in range(3):
            with service(tmp_path, places) as (worker, post):
                post(lambda journal: journal.commit(entry)).result()
                worker.wake()
                until(lambda: state_of(tmp_path, "b") == "sent", "both to be sent")
    text = "".join(one["message"] for one in hook.got)
    assert [text.count(f"text of {key}") for key in "ab"] == [1, 1]
    assert "may have this already" not in text


def test_a_letter_is_journalled_as_sending_before_a_byte_of_it_leaves(tmp_path: Path) -> None:
    with Listener(answer="wait") as hook:
        places = table(tmp_path, hook.url())
        with service(tmp_path, places) as (worker, post):
            post(lambda journal: journal.commit(Entry(letters=[letter("a", due_us=now())]))).result()
            worker.wake()
            until(hook.arrived.is_set, "the notice to arrive")
            assert state_of(tmp_path, "a") == "sending"
            hook.release.set()
            until(lambda: state_of(tmp_path, "a") == "sent", "it to be journalled as sent")
    assert len(hook.got) == 1


def test_what_waits_for_a_destination_that_was_taken_out_of_the_file_is_dropped_and_says_why(tmp_path: Path) -> None:
    with Listener() as hook:
        places = table(tmp_path, hook.url())
        letters = [letter("a", to="old phone", due_us=now()), letter("b", due_us=now())]
        with service(tmp_path, places) as (_, post):
            post(lambda journal: journal.commit(Entry(letters=letters))).result()
        with service(tmp_path, places):
            until(lambda: state_of(tmp_path, "a") == "dropped", "the forsaken letter to be dropped")
            until(lambda: state_of(tmp_path, "b") == "sent", "the other to be sent")
    assert "text of a" not in "".join(one["message"] for one in hook.got)


def test_killed_while_sending_it_sends_once_more_and_says_so(tmp_path: Path) -> None:
    with Listener(answer="wait") as hook:
        places = table(tmp_path, hook.url())
        killed = subprocess.Popen([sys.executable, "-m", __name__, str(tmp_path)], cwd=Path(__file__).parents[2])
        try:
            until(hook.arrived.is_set, "the notice to arrive")
        finally:
            os.kill(killed.pid, signal.SIGKILL)
            killed.wait(DEADLINE_S)
        assert state_of(tmp_path, "a") == "sending"
        hook.answer = 200
        for _ in range(2):
            with service(tmp_path, places):
                until(lambda: state_of(tmp_path, "a") == "sent", "the second sending")
    assert [one["message"] for one in hook.got] == [
        "text of a",
        "You may have this already: an earlier sending was cut off before it was confirmed.\ntext of a",
    ]


if __name__ == "__main__":  # the service that is killed
    folder = Path(sys.argv[1])
    with service(folder, table(folder, (folder / "address").read_text(encoding="utf-8"))) as (started, told):
        told(lambda journal: journal.commit(Entry(letters=[letter("a", due_us=now())]))).result()
        started.wake()
        threading.Event().wait(DEADLINE_S)
