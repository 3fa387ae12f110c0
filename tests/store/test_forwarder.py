"""The forwarder between a journal and servers that answer as told: nothing lost, doubled, reordered or disclosed."""

import logging
import threading

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.errors import SettingError, StoreError
from monitor.base.samples import SECOND_US
from monitor.store.forward_server import Answer
from monitor.store.forwarder import FIRST_WAIT_S, LONGEST_WAIT_S, Forwarder
from tests.store.forwarding import T0, MemoryJournal, TestServer, block, cut, drain, forwarder, rules, transition, van

BUSY = Answer("busy", "db.test answered 503: later")


def filled(seconds: int = 95) -> MemoryJournal:
    journal = MemoryJournal()
    journal.add(rules(T0, '{"name": "default"}'), *cut(block(0, seconds), [1]))
    journal.add(transition(T0 + 60 * SECOND_US))
    return journal


def test_everything_arrives_and_the_cursor_stands_at_the_end() -> None:
    journal, server = filled(), TestServer()
    forwarding = forwarder(journal, server)
    drain(forwarding)
    kinds = [line.split(",")[0] for line in server.stored]
    assert (kinds.count("keyoff_second"), kinds.count("keyoff_sample"), kinds.count("keyoff_alarm")) == (94, 9, 1)
    assert journal.position == len(journal.records)
    assert forwarding.state["state"] == "current"
    assert forwarding.state["sent_to"] == "2025-03-03T11:08:14Z"


def test_order_is_kept_within_each_series() -> None:
    journal, server = filled(500), TestServer()
    drain(forwarder(journal, server, van(batch_points=7)))
    times = [int(line.rsplit(" ", 1)[1]) for lines in server.requests for line in lines if "second" in line]
    assert times == sorted(set(times))


@given(
    lengths=st.lists(st.integers(1, 40), min_size=1, max_size=5),
    stops=st.lists(st.integers(1, 30), max_size=6),
    points=st.integers(1, 60),
)
def test_crashes_anywhere_and_any_cut_store_the_same_points(lengths: list[int], stops: list[int], points: int) -> None:
    """A crash forgets all but the journal; what was sent and not journalled is sent again."""
    whole = block(0.3, 400, rate_hz=4.0)
    server, once = TestServer(), TestServer()
    journal, plain = MemoryJournal(), MemoryJournal()
    plain.add(whole, transition(T0), transition(T0))
    drain(forwarder(plain, once, van(samples="full")))
    journal.add(*cut(whole, lengths), transition(T0), transition(T0))
    vehicle = van(samples="full", batch_points=points)
    for steps in stops:
        dying = forwarder(journal, server, vehicle)
        for _ in range(steps):
            dying.step()
    drain(forwarder(journal, server, vehicle))
    assert server.stored == once.stored


def test_steps_are_the_same_however_the_samples_arrived_and_wherever_it_crashed() -> None:
    whole = block(0.3, 4000, rate_hz=4.0)
    stored = []
    for lengths in ([4000], [1], [3, 0, 77], [40]):
        journal, server = MemoryJournal(), TestServer()
        for piece in cut(whole, [length or 1 for length in lengths]):
            journal.add(piece)
            if len(journal.records) % 50 == 0:
                drain(forwarder(journal, server))  # a new one each time: all it knows comes from the journal
        drain(forwarder(journal, server))
        stored.append(server.stored)
    assert len(stored[0]) == 1000 + 100
    assert stored[0] == stored[1] == stored[2] == stored[3]


def test_a_step_is_the_mean_lowest_and_highest_of_its_samples() -> None:
    journal, server = MemoryJournal(), TestServer()
    whole = block(0, 50, rate_hz=4.0)
    journal.add(whole)
    drain(forwarder(journal, server))
    (fields,) = [
        value for key, value in server.stored.items() if key == f"keyoff_sample,step=10s,vehicle=van\\,\\ white {T0}"
    ]
    first = whole[:40]
    said = dict(part.split("=") for part in fields.split(","))
    assert float(said["volts"]) == round(float(np.mean(first.volts)), 6)
    assert (float(said["amps_min"]), float(said["amps_max"])) == (first.amps.min(), first.amps.max())  # type: ignore[union-attr]  # it has amps


def test_an_outage_reads_two_pages_and_no_more() -> None:
    journal, server = filled(), TestServer(answer=lambda lines: Answer("unreachable", "no route"))
    forwarding = forwarder(journal, server)
    forwarding.step()
    for hour in range(24):
        journal.add(*cut(block(1000 + 3600 * hour, 3600), [60]))
        for _ in range(12):
            assert forwarding.step() > 0
    assert journal.pages <= 2
    assert forwarding.state["state"] == "waiting"
    server.answer = lambda lines: Answer("accepted")
    drain(forwarding)
    seconds = {line for line in server.stored if "second" in line}
    assert len(seconds) == 95 + 24 * 3600 - 1  # the last second is not whole yet


def test_waits_double_to_five_minutes_and_start_again_after_success() -> None:
    journal, server = filled(), TestServer(answer=lambda lines: BUSY)
    forwarding = forwarder(journal, server)
    forwarding.step()
    waits = [forwarding.step() for _ in range(12)]
    assert waits[:4] == [FIRST_WAIT_S, 2.0, 4.0, 8.0]
    assert waits[-1] == LONGEST_WAIT_S
    server.answer = lambda lines: Answer("accepted")
    drain(forwarding)
    server.answer = lambda lines: BUSY
    journal.add(block(2000, 60))
    forwarding.step()
    assert forwarding.step() == FIRST_WAIT_S


def test_the_server_may_ask_for_a_longer_wait() -> None:
    journal, server = filled(), TestServer(answer=lambda lines: Answer("busy", "slow down", 77.0))
    forwarding = forwarder(journal, server)
    forwarding.step()
    assert forwarding.step() == 77.0


def test_a_batch_that_is_too_large_is_halved_until_it_fits() -> None:
    def small_only(lines: object) -> Answer:
        return Answer("accepted") if len(lines) <= 10 else Answer("too_large", "413")  # type: ignore[arg-type]  # sized

    journal, server = filled(), TestServer(answer=small_only)
    drain(forwarder(journal, server))
    assert len(server.stored) == 94 + 9 + 1
    assert not journal.rejected


def test_only_the_lines_that_the_server_refuses_are_set_aside_with_its_reason() -> None:
    def no_alarms(lines: object) -> Answer:
        bad = any("keyoff_alarm" in line for line in lines)  # type: ignore[attr-defined]  # a list of lines
        return Answer("refused", "field type conflict") if bad else Answer("accepted")

    journal, server = filled(), TestServer(answer=no_alarms)
    forwarding = forwarder(journal, server)
    drain(forwarding)
    assert len([line for line in server.stored if "keyoff_link" not in line]) == 94 + 9
    ((line, reason),) = journal.rejected
    assert line.startswith("keyoff_alarm")
    assert reason == "field type conflict"
    assert forwarding.state["rejected"] == 1
    assert forwarding.state["last_error"] == "field type conflict"


def test_a_server_that_refuses_whatever_comes_is_set_up_wrong_and_nothing_is_set_aside() -> None:
    journal, server = filled(), TestServer(answer=lambda lines: Answer("refused", "missing route"))
    forwarding = forwarder(journal, server)
    for _ in range(100):
        forwarding.step()
    assert forwarding.state["state"] == "refused"
    assert not journal.rejected
    assert journal.position == 0
    server.answer = lambda lines: Answer("accepted")
    drain(forwarding)
    assert len([line for line in server.stored if "link" not in line]) == 94 + 9 + 1


def test_a_wrong_token_is_told_at_once_and_once_and_the_data_are_kept(caplog: pytest.LogCaptureFixture) -> None:
    journal, server = filled(), TestServer(answer=lambda lines: Answer("denied", "db.test answered 401: unauthorized"))
    forwarding = forwarder(journal, server)
    with caplog.at_level(logging.INFO):
        for _ in range(9):
            forwarding.step()
        assert [record.levelname for record in caplog.records] == ["ERROR"]
        assert "401" in caplog.text
        assert journal.position == 0
        server.answer = lambda lines: Answer("accepted")
        drain(forwarding)
    assert [record.levelname for record in caplog.records] == ["ERROR", "INFO"]
    assert journal.position == len(journal.records)


def test_a_slow_server_gets_smaller_batches() -> None:
    def slow(lines: object) -> Answer:
        return Answer("accepted") if len(lines) <= 30 else Answer("unreachable", "timed out")  # type: ignore[arg-type]  # sized

    journal, server = filled(), TestServer(answer=slow)
    drain(forwarder(journal, server))
    assert len(server.stored) == 94 + 9 + 1


def test_a_full_disk_keeps_the_cursor_and_doubles_nothing() -> None:
    journal, server = filled(), TestServer()
    journal.full = True
    forwarding = forwarder(journal, server)
    for _ in range(20):
        forwarding.step()
    assert journal.position == 0
    assert "No space left" in forwarding.state["last_error"]
    journal.full = False
    drain(forwarding)
    assert journal.position == len(journal.records)
    once = TestServer()
    drain(forwarder(filled(), once))
    assert server.stored == once.stored


def test_a_journal_that_cannot_be_read_for_a_while_is_opened_again() -> None:
    journal, server, tries = filled(), TestServer(), []

    def opened() -> MemoryJournal:
        tries.append(1)
        if len(tries) <= 2:
            raise StoreError("journal.db: cannot be read: busy", "wait", "failing")
        return journal

    forwarding = Forwarder(van(), opened, journal.move, server=server, chance=lambda: 0.0)
    assert [forwarding.step(), forwarding.step()] == [1.0, 2.0]
    assert "busy" in forwarding.state["last_error"]
    drain(forwarding)
    assert forwarding.state["last_error"] == ""
    assert journal.position == len(journal.records)


def test_judged_again_under_other_limits_nothing_mixes() -> None:
    """The same samples, two sets of limits: what does not depend on limits is the same point, alarms stand apart."""
    server = TestServer()
    for text, setpoint in (('{"name": "default"}', 0.05), ('{"name": "strict"}', 0.03)):
        journal = MemoryJournal()
        journal.add(rules(T0, text), block(0, 95), transition(T0 + 60 * SECOND_US, setpoint))
        drain(forwarder(journal, server))
    alarms = {line: fields for line, fields in server.stored.items() if "alarm" in line}
    assert len(server.stored) == 94 + 9 + 2
    assert sorted("setpoint=0.05" in fields for fields in alarms.values()) == [False, True]
    assert len({line.split("limits=")[1].split(",")[0] for line in alarms}) == 2


def test_an_alarm_ends_in_the_series_in_which_it_was_raised() -> None:
    journal, server = MemoryJournal(), TestServer()
    journal.add(rules(T0, '{"name": "one"}'), transition(T0 + SECOND_US), rules(T0 + 2 * SECOND_US, '{"name": "two"}'))
    drain(forwarder(journal, server))
    journal.add(transition(T0 + 3 * SECOND_US, returned=T0 + 3 * SECOND_US, state="returned_unacknowledged"))
    drain(forwarder(journal, server))
    series = {line.rsplit(" ", 1)[0] for line in server.stored}
    assert len(server.stored) == 2
    assert len(series) == 1


def test_two_steps_of_one_alarm_in_one_millisecond_are_two_points() -> None:
    journal, server = MemoryJournal(), TestServer()
    journal.add(transition(T0), transition(T0, returned=T0), transition(T0 + 400))
    drain(forwarder(journal, server))
    assert sorted(int(line.rsplit(" ", 1)[1]) for line in server.stored) == [T0, T0 + 1000, T0 + 2400]


def test_what_another_version_remembered_is_left_and_nothing_stops() -> None:
    journal, server = filled(), TestServer()
    journal.state = '{"!object": "monitor.store.gone:Gone", "fields": {}}'
    drain(forwarder(journal, server))
    assert len(server.stored) == 94 + 9 + 1


def test_it_runs_in_a_thread_until_it_is_stopped() -> None:
    journal, server, stop = filled(), TestServer(), threading.Event()
    forwarding = forwarder(journal, server)
    thread = threading.Thread(target=forwarding.run, args=(stop,))
    thread.start()
    stop.set()
    thread.join(30)
    assert not thread.is_alive()
    assert forwarding.state["state"] == "stopped"
    assert server.closed


def test_a_token_that_is_not_there_is_refused_at_the_start() -> None:
    journal = MemoryJournal()
    with pytest.raises(SettingError, match="KEYOFF_NO_SUCH"):
        Forwarder(van(token="env:KEYOFF_NO_SUCH"), lambda: journal, journal.move)
