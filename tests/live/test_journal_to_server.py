"""From a real journal to a real server: a killed service, an outage, a full disk; each point once and unchanged."""

import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.base.errors import StoreError
from monitor.base.results import Result, Verdict
from monitor.base.samples import SECOND_US
from monitor.base.tables.store import StoreTable
from monitor.store import upkeep
from monitor.store.database import connect
from monitor.store.entries import Entry, Event
from monitor.store.forward_assessment import assessment_event
from monitor.store.forwarder import Forwarder
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.live.child import forward, journalled
from tests.live.front import Front
from tests.live.servers import InfluxServer
from tests.live.test_forwarding import assert_all_seconds, seconds_in, until
from tests.store.forwarding import T0, block, cut, drain, rules, transition, van


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path / "van")


@pytest.fixture
def journal(home: Home) -> Iterator[Journal]:
    journal = Journal(home)
    yield journal
    journal.close()


def test_killed_at_any_moment_the_service_loses_and_doubles_nothing(
    home: Home, influx: InfluxServer, front: Front
) -> None:
    """Issued: what is journalled. Acknowledged: what the cursor passed. Delivered: what the server holds."""
    whole = block(0, 12_000)
    journal = Journal(home)
    journal.commit(Entry(orders=[rules(T0, '{"name": "default"}')]))
    for piece in cut(whole, [10]):
        journal.commit(Entry(block=piece))
    kind, at_us, text = transition(T0 + 60 * SECOND_US)
    journal.commit(Entry(events=[(0, kind, at_us, text)]))
    journal.close()
    killed = 0
    for more in (1, 3, 8, 2, 5):
        seen = len(front.seen)
        child = subprocess.Popen([sys.executable, "-W", "error", "-m", "tests.live.child", home.folder, front.url])
        until(
            lambda seen=seen, more=more, child=child: len(front.seen) >= seen + more or child.poll() is not None, "sent"
        )
        child.send_signal(signal.SIGKILL)
        killed += child.wait(60) == -signal.SIGKILL
    assert killed >= 3  # else nothing was shown
    forward(home, front.url)
    assert_all_seconds(seconds_in(influx), whole)
    ((tags, steps),) = influx.points("keyoff_alarm").items()
    assert (list(steps), "vehicle=van, white" in tags) == ([at_us], True)
    lines = [line for seen in front.seen for line in seen.text.split("\n")]
    assert len(lines) > len(set(lines))  # some came twice, and were stored once
    with JournalReader(home) as reader:
        assert reader.cursor("database").lag == 0


def test_a_day_without_a_server_is_caught_up_from_the_archive_too(
    home: Home, journal: Journal, influx: InfluxServer, front: Front
) -> None:
    """A day at one sample a second while nobody answers; half of it is in the archive when the server is back."""
    whole = block(0, 86_400)
    influx.end()
    for piece in cut(whole, [600]):
        journal.commit(Entry(block=piece))
    forwarding = Forwarder(
        van(url=front.url),
        lambda: JournalReader(home),
        lambda step: journalled(journal, step),
        chance=lambda: 0.0,
    )
    forwarding.step()
    assert forwarding.step() > 0
    journal.commit(Entry(checkpoint={"seen": "all"}))  # only what the watch has digested is archived
    said = upkeep.roll_over(home, StoreTable(), lambda f: f(journal))
    assert list(home.archive.iterdir()), said
    influx.start()
    drain(forwarding)
    assert_all_seconds(seconds_in(influx), whole)


def test_a_full_disk_stops_the_cursor_and_not_the_data(home: Home, influx: InfluxServer, front: Front) -> None:
    """Fails, says so, and goes on by itself when there is room; what was sent meanwhile is stored once."""
    opened: list[sqlite3.Connection] = []

    def kept(uri: str) -> sqlite3.Connection:
        opened.append(connect(uri))
        return opened[-1]

    whole = block(0, 3000)
    journal = Journal(home, connect=kept)
    for piece in cut(whole, [100]):
        journal.commit(Entry(block=piece))
    pages = opened[-1].execute("PRAGMA page_count").fetchone()[0]
    opened[-1].execute(f"PRAGMA max_page_count = {pages}")
    filler = 0
    while filler < 10_000:  # until not one page is left
        try:
            journal.note_fact(f"filler {filler}", "x" * 2000)
        except StoreError as full:
            assert full.kind == "disk_full"
            break
        filler += 1
    forwarding = Forwarder(
        van(url=front.url),
        lambda: JournalReader(home),
        lambda step: journalled(journal, step),
        chance=lambda: 0.0,
    )
    waits = [forwarding.step() for _ in range(6)]
    assert waits[-1] > 0
    assert forwarding.state["state"] == "waiting"
    assert "full" in forwarding.state["last_error"]
    opened[-1].execute("PRAGMA max_page_count = 1073741823")
    drain(forwarding)
    assert forwarding.state["last_error"] == ""
    assert_all_seconds(seconds_in(influx), whole)
    journal.close()


def test_an_assessment_told_twice_in_an_hour_is_one_event_and_none_of_the_watchs(journal: Journal) -> None:
    result = Result(verdict=Verdict(cause="drain", confidence=0.9))
    result.log.last = T0
    event = assessment_event(result)
    assert event is not None
    journal.commit(Entry(block=block(0, 10), events=[(0, *transition(T0))]))
    before = journal.resume().next_event
    for _ in range(2):
        journal.commit(Entry(events=[event]))
    with JournalReader(journal.home) as reader:
        kinds = [record.kind for record in reader.page(0, 100).records if isinstance(record, Event)]
    assert kinds == ["transition", "assessment"]
    assert journal.resume().next_event == before == 1
