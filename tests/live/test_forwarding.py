"""The forwarder against real servers: written unchanged, stored once, through kills, outages and refusals."""

import logging
import signal
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.base.samples import SECOND_US, Block
from monitor.store.forward_server import DatabaseServer
from monitor.store.forwarder import Forwarder
from tests.live.front import Fault, Front
from tests.live.servers import Auth, InfluxServer, VictoriaMetrics, free_port
from tests.store.forwarding import T0, MemoryJournal, block, cut, drain, rules, transition, van

DEADLINE_S = 120.0
OPENED: list[DatabaseServer] = []  # by the test that runs


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    while OPENED:
        OPENED.pop().close()


def until(done: Callable[[], Any], what: str) -> None:
    """Look until it is so; a named condition with a deadline."""
    deadline = time.monotonic() + DEADLINE_S
    while not done():
        assert time.monotonic() < deadline, f"not within {DEADLINE_S:g} s: {what}"
        time.sleep(0.01)  # between two looks


def real(journal: MemoryJournal, url: str, **table: object) -> Forwarder:
    vehicle = van(url=url, **table)
    assert vehicle.database is not None
    return Forwarder(
        vehicle, lambda: journal, journal.move, server=DatabaseServer(vehicle.database), chance=lambda: 0.0
    )


def journal_of(whole: Block, at_once: int = 1) -> MemoryJournal:
    journal = MemoryJournal()
    journal.add(rules(T0, '{"name": "default"}'), *cut(whole, [at_once]))
    journal.add(transition(T0 + 60 * SECOND_US))
    return journal


def seconds_in(influx: InfluxServer) -> dict[int, dict[str, float]]:
    found = influx.points("keyoff_second")
    return found.get(("vehicle=van, white",), {})


def assert_all_seconds(stored: dict[int, dict[str, float]], whole: Block) -> None:
    """At one sample a second each stored second is that sample: none missing, none invented, none changed."""
    samples = whole[:-1]  # the last second is not whole yet
    assert sorted(stored) == samples.t_us.tolist()
    assert [stored[t]["volts_max"] for t in samples.t_us.tolist()] == samples.volts.tolist()
    assert [stored[t]["amps_min"] for t in samples.t_us.tolist()] == samples.amps.tolist()  # type: ignore[union-attr]  # it has amps


def test_a_server_gets_every_sample_unchanged(metrics: VictoriaMetrics) -> None:
    whole = block(0, 3000, rate_hz=10.0)
    journal = journal_of(whole, 7)
    drain(real(journal, metrics.url, samples="full", seconds=False))
    found = metrics.points('{vehicle="van, white",step="full"}')
    for name, values in (("volts", whole.volts), ("amps", whole.amps), ("celsius", whole.celsius)):
        assert values is not None
        stored = found[f"keyoff_sample_{name},step=full,vehicle=van, white"]
        assert list(stored) == (whole.t_us // 1000).tolist()
        assert list(stored.values()) == values.tolist()


def test_packed_it_arrives_the_same(metrics: VictoriaMetrics) -> None:
    whole = block(0, 300)
    for name, compress in (("plain", False), ("packed", True)):
        drain(real(journal_of(whole), metrics.url, name=name, compress=compress))
    plain, packed = (
        {series.replace(f"vehicle={name}", ""): values for series, values in found.items()}
        for name in ("plain", "packed")
        if (found := metrics.points(f'{{vehicle="{name}"}}'))
    )
    assert plain
    assert packed == plain


def test_what_is_sent_twice_is_stored_once(influx: InfluxServer, front: Front) -> None:
    whole = block(0, 300)
    journal = journal_of(whole)
    drain(real(journal, front.url, bucket=influx.database))
    first = {name: influx.points(name) for name in ("keyoff_second", "keyoff_sample", "keyoff_alarm")}
    journal.position, journal.state = 0, ""
    drain(real(journal, front.url, bucket=influx.database))
    assert {name: influx.points(name) for name in first} == first
    lines = [line for seen in front.seen for line in seen.text.split("\n")]
    assert len(lines) == 2 * len(set(lines))
    assert_all_seconds(seconds_in(influx), whole)


def test_killed_in_mid_batch_it_loses_doubles_and_changes_nothing(influx: InfluxServer, front: Front) -> None:
    """The server is killed three times while batches arrive; answers are lost after it stored them."""
    whole = block(0, 20_000)
    journal = journal_of(whole, 10)
    forwarding = real(journal, front.url, bucket=influx.database, batch_points=200)
    for _ in range(3):
        before = len(front.seen)
        while len(front.seen) < before + 5:
            forwarding.step()
        front.faults.append(Fault(cut="after"))
        killer = threading.Thread(target=influx.end, args=(signal.SIGKILL,))
        killer.start()
        while forwarding.state["state"] != "waiting" or killer.is_alive():
            forwarding.step()
        assert forwarding.step() > 0
        influx.start()
    drain(forwarding)
    assert_all_seconds(seconds_in(influx), whole)
    lines = [line for seen in front.seen for line in seen.text.split("\n")]
    assert len(lines) > len(set(lines))  # some were sent twice: else nothing was shown
    assert journal.position == len(journal.records)


def test_the_forwarder_itself_dies_between_sending_and_journalling(influx: InfluxServer, front: Front) -> None:
    whole = block(0, 5000)
    journal = journal_of(whole, 10)
    for steps in (1, 2, 3, 4, 5, 7):  # each dies after so many steps, and all it knew with it
        dying = real(journal, front.url, bucket=influx.database, batch_points=300)
        for _ in range(steps):
            dying.step()
    drain(real(journal, front.url, bucket=influx.database, batch_points=300))
    assert_all_seconds(seconds_in(influx), whole)


def test_a_silent_server_is_given_up_after_the_timeout(influx: InfluxServer, front: Front) -> None:
    whole = block(0, 100)
    journal = journal_of(whole)
    forwarding = real(journal, front.url, bucket=influx.database, timeout=0.2)
    forwarding.step()
    front.released.clear()
    assert forwarding.step() == 1.0
    assert "timed out" in forwarding.state["last_error"]
    front.released.set()
    drain(forwarding)
    assert_all_seconds(seconds_in(influx), whole)


def test_a_partial_write_sets_aside_only_what_conflicts(influx: InfluxServer, front: Front) -> None:
    """Somebody else wrote `value` as text: InfluxDB takes the rest of a batch and answers 400."""
    line = f'keyoff_alarm,vehicle=other value="high" {T0}'  # types are kept by week
    urllib.request.urlopen(f"{influx.url}/write?db={influx.database}&precision=u", line.encode()).close()
    whole = block(0, 300)
    journal = journal_of(whole)
    forwarding = real(journal, front.url, bucket=influx.database)
    drain(forwarding)
    assert_all_seconds(seconds_in(influx), whole)
    ((line_kept, reason),) = journal.rejected
    assert line_kept.startswith("keyoff_alarm,")
    assert "field type conflict" in reason
    assert forwarding.state["rejected"] == 1


def test_busy_and_too_large_answers_are_heeded(influx: InfluxServer, front: Front) -> None:
    whole = block(0, 300)
    journal = journal_of(whole)
    front.faults += [Fault(answer=429, headers={"Retry-After": "7"}), Fault(answer=503, body="overloaded")]
    forwarding = real(journal, front.url, bucket=influx.database)
    forwarding.step()
    assert forwarding.step() == 7.0
    assert forwarding.step() == 2.0
    assert "overloaded" in forwarding.state["last_error"]
    front.largest = 4000
    drain(forwarding)
    assert_all_seconds(seconds_in(influx), whole)
    assert not journal.rejected


def test_a_wrong_bucket_is_told_at_once_and_the_data_are_kept(influx: InfluxServer, front: Front) -> None:
    whole = block(0, 100)
    journal = journal_of(whole)
    wrong = real(journal, front.url, bucket="kyeoff")
    wrong.step()
    assert wrong.step() > 0
    assert wrong.state["state"] == "refused"
    assert "kyeoff" in wrong.state["last_error"]
    assert (journal.position, journal.rejected) == (0, [])
    drain(real(journal, front.url, bucket=influx.database))
    assert_all_seconds(seconds_in(influx), whole)


def test_a_wrong_token_is_told_at_once_kept_back_and_never_shown(
    auth: Auth,
    metrics: VictoriaMetrics,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    secret = tmp_path / "token"
    secret.write_text("not-the-token-at-all\n")
    journal = journal_of(block(1e6, 100))
    wrong = real(journal, auth.url, token=f"file:{secret}")
    with caplog.at_level(logging.DEBUG):
        wrong.step()
        assert wrong.step() > 0
    assert wrong.state["state"] == "refused"
    assert "auth token" in wrong.state["last_error"]
    assert (journal.position, journal.rejected) == (0, [])
    secret.write_text(auth.token)
    right = real(journal, auth.url, token=f"file:{secret}")
    with caplog.at_level(logging.DEBUG):
        drain(right)
    assert len(metrics.points("keyoff_second_volts")["keyoff_second_volts,vehicle=van, white"]) >= 99
    said = caplog.text + str(wrong.state) + str(right.state)
    assert "not-the-token-at-all" not in said
    assert auth.token not in said


def test_a_server_that_is_not_there_costs_only_time(metrics: VictoriaMetrics) -> None:
    nobody = real(journal_of(block(0, 100)), f"http://127.0.0.1:{free_port()}")
    nobody.step()
    assert nobody.step() == 1.0
    assert nobody.state["state"] == "waiting"


def test_it_follows_a_growing_journal_in_its_thread(metrics: VictoriaMetrics) -> None:
    journal, stop = MemoryJournal(), threading.Event()
    vehicle = van(url=metrics.url, name="growing")
    forwarding = Forwarder(vehicle, lambda: journal, journal.move)
    thread = threading.Thread(target=forwarding.run, args=(stop,))
    journal.add(block(0, 50))
    thread.start()
    until(lambda: forwarding.state["state"] == "current", "the forwarder has caught up")
    journal.add(block(50, 50))
    until(lambda: journal.position == 2, "what came later is forwarded too")
    stop.set()
    thread.join(DEADLINE_S)
    stored = metrics.points('keyoff_second_volts{vehicle="growing"}')
    assert len(stored["keyoff_second_volts,vehicle=growing"]) == 99


def test_steps_are_stored_as_they_were_computed(metrics: VictoriaMetrics) -> None:
    whole = block(0, 600, rate_hz=2.0)
    journal = journal_of(whole, 11)
    drain(real(journal, metrics.url, name="steps", seconds=False))
    stored = metrics.points('keyoff_sample_volts{vehicle="steps"}')["keyoff_sample_volts,step=10s,vehicle=steps"]
    expected = np.round(whole.volts[:580].reshape(29, 20).mean(axis=1), 6)
    # one unit of the sixth digit: the mean of 20 sums up in another order
    np.testing.assert_allclose(list(stored.values())[:29], expected, rtol=0, atol=1.01e-6)
