"""From the sample that completes an alarm to the alarm in the journal, and to its notice at a listener.

The volts step above a limit and back, at moments that shift against the second. An alarm needs its on-delay of data
time: the sample that is that much later than the first one above completes it, and the moment at which it was sent is
where the delay begins.
"""

from __future__ import annotations

import json
import statistics
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
ABOVE = 40  # samples: long enough for the on-delay, and a second more to be summed up
CYCLE = 87  # samples from step to step; shares no factor with ten, so that steps meet each tenth of a second
FIRST = 30  # samples before the first step
RULES = f"""about = "bench"
extends = "common"

[limits.step]
quantity = "volts"
high = "15 V"
deadband = "0.2 V"
on_delay = "{ON_S:g} s"
off_delay = "1 s"
priority = "critical"
cause = "The bench raises the volts."
response = "None is needed."

[limits.over-voltage]
enabled = false
"""


@dataclass
class Delays:
    """Seconds, one an alarm."""

    journal_s: list[float] = field(default_factory=list)
    notice_s: list[float] = field(default_factory=list)


def median(values: list[float]) -> float:
    return statistics.median(values)


def row(number: int) -> bytes:
    """Volts of a battery at rest, or above the limit."""
    into = (number - FIRST) % CYCLE
    return b"16.4,1.0,20.0\n" if number >= FIRST and into < ABOVE else b"12.7,-0.02,20.0\n"


def alarms(count: int) -> Delays:
    """The delays of so many alarms."""
    delays = Delays()
    with tempfile.TemporaryDirectory(prefix="keyoff-bench-") as name, Listener() as phone:
        folder = Path(name)
        wire = Tcp()
        (folder / "mine.toml").write_text(RULES)
        text = f'name = "van"\n[vehicle]\nrules = "mine.toml"\n[source]\nurl = "{wire.url}"\n'
        text += '[notices]\nmorning = false\nweekly = false\ndestinations = [{ to = "env:KEYOFF_BENCH" }]\n'
        (folder / "van.toml").write_text(text)
        with watch(folder, ["van.toml"], KEYOFF_BENCH=f"json://127.0.0.1:{phone.port}") as service:
            wire.begin(1)
            began_us = time.time_ns() // 100_000_000 * 100_000
            speaker = Speaker(wire, row, RATE_HZ, began_us, keeps=True)
            speaker.start()
            until("the journal is there", service.home("van").journal.exists)
            until("samples come", lambda: speaker.sent > 0)
            with JournalReader(service.home("van")) as reader:
                after = -1
                for number in range(count):
                    step_us = began_us + (FIRST + number * CYCLE) * STEP_US
                    complete_us = step_us + round(ON_S * 1e6)
                    seen_s, after = _raised(reader, after)
                    sent_s = speaker.sent_at[complete_us]
                    delays.journal_s.append(seen_s - sent_s)
                    notices = len(delays.notice_s)
                    until("the notice comes", lambda: any(at > sent_s for at, _ in phone.heard))
                    delays.notice_s.append(min(at for at, _ in phone.heard if at > sent_s) - sent_s)
                    assert len(delays.notice_s) == notices + 1
            speaker.end()
        wire.close()
    return delays


def _raised(reader: JournalReader, after: int) -> tuple[float, int]:
    """Wall-clock seconds at which the next raised alarm was seen, and its event's number."""
    deadline = time.monotonic() + 60.0
    while time.monotonic() < deadline:
        for event in reader.events(after, kind="transition"):
            after = max(after, event.number)
            told = json.loads(event.body)
            if told["alarm"]["limit"] == "step" and told["alarm"]["state"] == "raised":
                return time.time(), after
        time.sleep(0.01)
    raise RuntimeError("no alarm within a minute")
