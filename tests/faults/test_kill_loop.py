"""kill -9 at random moments under load: what was issued is journalled once, what was found is found once.

A feeder writes numbered lines, many times faster than a logger, into a file that the service follows; the service is
killed again and again, at any moment from its start on. The oracle knows each line that was issued, and works out the
findings anew from what the journal holds in the end.
"""

import contextlib
import random
import signal
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from monitor.base.documents import load_document
from monitor.base.errors import StoreError
from monitor.base.fields import iso
from monitor.base.vehicle import Vehicle
from monitor.limits.watch import Watch
from monitor.service.events import written
from monitor.store.entries import Event, Given, Samples
from monitor.store.home import Home
from monitor.store.reader import JournalReader
from monitor.store.rules_files import load_rules
from tests.faults.nursery import nursery

KILLS = 52
EARLY = 0.4  # share of the kills that come at any moment from the start on; the others once it writes
SEED = 20261125
DEADLINE_S = 120.0  # far beyond what this takes; reached only when something hangs
BEGIN_US = 1_790_000_000_000_000
STEP_US = 100_000  # 10 Hz of data
BURST = 4  # lines in one write, each hundredth of a second: 40 times as fast as such a logger
SURGE_EVERY, SURGE = 1000, 100  # lines from one surge to the next, and lines for which it lasts
FIRST_V, RISE_V, LIMITS = 14.0, 0.2, 20  # each surge is higher than the one before, and passes one limit more

VEHICLE = """
name = "van"
[source]
url = "file:{log}"
[vehicle]
rules = "rules.toml"
[[notices.destinations]]
name = "phone"
to = "env:KILL_LOOP_PHONE"
"""
RULE = """
[limits.over-{number}]
quantity = "volts"
high = "{volts:.2f} V"
deadband = "0.2 V"
on_delay = "1 s"
off_delay = "1 s"
priority = "high"
cause = "the regulator is stuck"
response = "stop"
source = "our choice"
"""


def volts(number: int) -> float:
    """Of the numbered line: neighbours differ, and every so often there is a surge."""
    surge, place = divmod(number, SURGE_EVERY)
    base = FIRST_V + RISE_V * min(surge, LIMITS - 1) + 0.01 if place >= SURGE_EVERY - SURGE else 12.5
    return round(base + number % 7 * 0.001, 3)


def line(number: int) -> str:
    return f"{iso(BEGIN_US + STEP_US * number)},{volts(number)},{-0.02 - number % 7 * 0.001:.3f}\n"


@dataclass
class Feeder:
    """Writes numbered lines into a file until told to stop; `issued` counts them."""

    path: Path
    issued: int = 0

    def __post_init__(self) -> None:
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="feeder")
        self.path.write_text("time,volts,amps\n")
        self._thread.start()

    def _run(self) -> None:
        with self.path.open("a") as file:
            while not self._stop.wait(0.01):
                file.write("".join(line(self.issued + k) for k in range(BURST)))
                file.flush()
                self.issued += BURST

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()


def acknowledged(home: Home, before: int) -> int:
    """Samples in the journal, which must be the first of those issued, in order, none missing, none twice."""
    try:
        with JournalReader(home) as reader:
            blocks = list(reader.blocks())
    except StoreError:
        assert not before  # killed before the journal was there, or while it was made
        return 0
    count = 0
    for block in blocks:
        assert not isinstance(block, int), "samples that cannot be read"
        for t_us, value in zip(block.t_us.tolist(), block.volts.tolist(), strict=True):
            assert (t_us, value) == (BEGIN_US + STEP_US * count, volts(count))
            count += 1
    return count


def await_more(home: Home, before: int) -> None:
    """Return soon after the service has written something."""
    deadline = time.monotonic() + DEADLINE_S
    last_us = BEGIN_US + STEP_US * (before - 1)
    while time.monotonic() < deadline:
        with contextlib.suppress(StoreError), JournalReader(home) as reader:
            if (reader.last_sample_us() or 0) > last_us:
                return
        time.sleep(0.01)  # between two looks
    raise AssertionError(f"nothing was written within {DEADLINE_S} s")


def found_again(home: Home, vehicle: Vehicle, file: Path) -> tuple[list[str], list[str]]:
    """What the journal says was found, and what a replay of it finds."""
    watch = Watch(vehicle, load_rules(vehicle, file), None)
    told: list[tuple[int, str]] = []
    again: list[str] = []
    with JournalReader(home) as reader:
        after, done = 0, False
        while not done:
            page = reader.page(after)
            for record in page.records:
                if isinstance(record, Event):
                    told.append((record.number, record.body))
                elif isinstance(record, Samples | Given):
                    events = watch.update(record.block) if isinstance(record, Samples) else watch.order(record.order)
                    again += [written(0, event)[3] for event in events]
            after, done = page.end, page.done
    assert [number for number, _ in told] == list(range(len(told)))
    return [body for _, body in told], again


def test_nothing_acknowledged_is_lost_or_told_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KILL_LOOP_PHONE", "json://127.0.0.1:9")  # nobody listens there: the letters wait
    chance = random.Random(SEED)
    file, data = tmp_path / "van.toml", tmp_path / "data"
    file.write_text(VEHICLE.format(log=tmp_path / "log.csv"))
    (tmp_path / "rules.toml").write_text(
        "".join(RULE.format(number=number, volts=FIRST_V + RISE_V * number) for number in range(LIMITS))
    )
    home = Home(data / "van")
    feeder = Feeder(tmp_path / "log.csv")
    kept, grew, usual_s = 0, 0, 1.0
    try:
        with nursery(data, file) as services:
            for _ in range(KILLS):
                service, began = services.start(), time.monotonic()
                if chance.random() < EARLY:
                    time.sleep(chance.uniform(0.0, usual_s))  # the moment is the point, and it is chance
                else:
                    await_more(home, kept)
                    usual_s = time.monotonic() - began  # on this machine, as busy as it is
                    time.sleep(chance.uniform(0.0, 0.5))  # as above, while it works
                services.end(service)
                now = acknowledged(home, kept)
                assert now >= kept
                grew += now > kept
                kept = now
            feeder.stop()
            service = services.start()
            deadline = time.monotonic() + DEADLINE_S
            while (kept := acknowledged(home, kept)) < feeder.issued:
                assert time.monotonic() < deadline, f"{kept} of {feeder.issued} after {DEADLINE_S} s"
                time.sleep(0.1)  # between two looks
            services.end(service, signal.SIGTERM)
    finally:
        feeder.stop()
    assert acknowledged(home, kept) == feeder.issued
    told, again = found_again(home, load_document(file, Vehicle), file)
    assert told == again
    raised = [body for body in told if '"what":"raised"' in body]
    over, begun = feeder.issued // SURGE_EVERY, (feeder.issued + SURGE) // SURGE_EVERY
    assert min(over, LIMITS) <= len(raised) <= begun
    assert min(over, LIMITS) > 3
    with JournalReader(home) as reader:
        letters = [key for (to, _), count in reader.letter_counts().items() for key in [to] * count]
        assert len(letters) == sum('"what":"raised"' in body or '"what":"returned"' in body for body in told)
        books = reader.books()
    assert (books.samples, books.refused) == (feeder.issued, {})
    assert grew > KILLS // 3, "most services were killed before they had written anything: this loop tests nothing"
    log = data.with_suffix(".log").read_text()
    assert "failed" not in log
    assert "error" not in log
