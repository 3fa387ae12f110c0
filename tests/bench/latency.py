"""From the sample that completes an alarm to the alarm in the journal, and to its notice at a listener.

The volts climb a staircase, and each step passes a limit of its own, since a limit that is passed again within a day is
the same alarm. An alarm needs its on-delay of data time: the sample that is that much later than the first one above
completes it, and the moment at which it was sent is where the delay begins. Limits are judged by whole seconds, that of
the step included, so an alarm may come a moment before that sample: a delay below zero.
"""

from __future__ import annotations

import json
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from monitor.store.reader import JournalReader
from tests.bench.feeding import Speaker, Tcp
from tests.bench.watched import Listener, until, watch

RATE_HZ = 10.0
STEP_US = 100_000
ON_S = 2.0
WIDTH = 43  # samples of a step; no factor is shared with ten, so that steps meet each tenth of a second
FIRST = 30  # samples before the first step
LOWEST_V, RISE_V = 13.0, 0.05
LOOK_S = 0.01
RULES = """about = "bench"
extends = "common"
"""
LIMIT = """
[limits.step-{number:02d}]
quantity = "volts"
high = "{volts:.3f} V"
deadband = "0.01 V"
on_delay = "{on_s:g} s"
priority = "critical"
cause = "The bench raises the volts."
response = "None is needed."
"""


@dataclass
class Delays:
    """Seconds, one an alarm."""

    journal_s: list[float] = field(default_factory=list)
    notice_s: list[float] = field(default_factory=list)


def row(number: int) -> bytes:
    """The staircase; half a step above each limit."""
    step = (number - FIRST) // WIDTH
    return b"%.3f,1.0,20.0\n" % (LOWEST_V + (step + 0.5) * RISE_V if step >= 0 else 12.7)


def rules(count: int) -> str:
    limits = (LIMIT.format(number=n, volts=LOWEST_V + n * RISE_V, on_s=ON_S) for n in range(count))
    return RULES + "".join(limits)


def alarms(count: int) -> Delays:
    """The delays of so many alarms."""
    if count * RISE_V > 2.5:
        raise ValueError("the staircase would reach the limits of the preset")
    delays = Delays()
    with tempfile.TemporaryDirectory(prefix="keyoff-bench-") as name, Listener() as phone:
        folder = Path(name)
        wire = Tcp()
        (folder / "mine.toml").write_text(rules(count))
        text = f'name = "van"\n[vehicle]\nrules = "mine.toml"\n[source]\nurl = "{wire.url}"\n'
        text += '[notices]\nmorning = false\nweekly = false\ndestinations = [{ to = "env:KEYOFF_BENCH" }]\n'
        (folder / "van.toml").write_text(text)
        with watch(folder, ["van.toml"], KEYOFF_BENCH=f"json://127.0.0.1:{phone.port}") as service:
            wire.begin(1)
            began_us = time.time_ns() // STEP_US // 1000 * STEP_US
            speaker = Speaker(wire, row, RATE_HZ, began_us, keeps=True)
            speaker.start()
            until("the journal is there", service.home("van").journal.exists)
            with JournalReader(service.home("van")) as reader:
                for number in range(count):
                    step_us = began_us + (FIRST + number * WIDTH) * STEP_US
                    complete_us = step_us + round(ON_S * 1e6)
                    seen_s = _raised_s(reader, f"step-{number:02d}")
                    complete_s = speaker.sent_at.get(complete_us, complete_us / 1e6)
                    delays.journal_s.append(seen_s - complete_s)
                    delays.notice_s.append(_told_s(phone, speaker.sent_at[step_us]) - complete_s)
            speaker.end()
        wire.close()
    return delays


def _raised_s(reader: JournalReader, limit: str) -> float:
    """Wall-clock seconds at which that limit's alarm was seen in the journal."""
    deadline = time.monotonic() + 60.0
    while time.monotonic() < deadline:
        for event in reader.events(kind="transition"):
            told = json.loads(event.body)
            if told["alarm"]["limit"] == limit and told["what"] == "raised":
                return time.time()
        time.sleep(LOOK_S)  # between two looks
    raise RuntimeError(f"no alarm of {limit} within a minute")


def _told_s(phone: Listener, after_s: float) -> float:
    """Wall-clock seconds at which the first notice after that moment came."""

    def came() -> list[float]:
        return [at for at, _ in phone.heard if at > after_s]

    until("the notice comes", lambda: bool(came()))
    return came()[0]
