"""However a log is cut, and wherever the program is stopped and restored, the answer is the same to the last bit."""

import json
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.ledger import Ledger
from monitor.base.samples import SECOND_US, Block
from monitor.detect import Engine
from monitor.detect.facts import Facts
from tests.laws.contract import check_cut, check_pure, check_resume
from tests.laws.logs import Log, at_the_crank, busy, busy_life, interleaved, random_log, with_holes, without_amps
from tests.laws.subjects import SUBJECTS, OfBinner, OfEngine, discovered, has_state

BUSY = busy(1.0)
LOGS = {
    log.name: log
    for log in (
        BUSY,
        busy(0.2),
        with_holes(BUSY),
        interleaved(busy(2.0)),
        without_amps(BUSY),
        at_the_crank(10.0),
        at_the_crank(200.0),
        busy_life(1.0).done("busy, gaps as the owner says", Facts(gap_s=3.0, kind="agm", capacity_ah=70.0)),
    )
}
LIVES = [random_log(seed) for seed in range(60)]

each_subject = pytest.mark.parametrize("kind", SUBJECTS, ids=lambda kind: kind.kind.__name__)
each_log = pytest.mark.parametrize("name", LOGS)


def test_the_laws_are_asked_of_every_detector_there_is():
    assert {kind.kind for kind in SUBJECTS} == discovered()


@each_subject
def test_all_a_detector_remembers_is_plain_data(kind):
    assert has_state(kind)


@each_subject
@each_log
def test_the_logs_are_cut_anywhere(kind, name):
    log = LOGS[name]
    random = np.random.default_rng(5)
    length = kind.length(log)
    for count in (1, 2, 9, 60):
        check_cut(kind, log, random.integers(0, length + 1, count).tolist())


@each_subject
@each_log
def test_a_restored_detector_goes_on_as_if_nothing_had_happened(kind, name):
    log = LOGS[name]
    random = np.random.default_rng(6)
    for count in (1, 12):
        check_resume(kind, log, random.integers(0, kind.length(log) + 1, count).tolist())


@each_subject
@each_log
def test_asking_changes_nothing(kind, name):
    check_pure(kind, LOGS[name])


@each_subject
def test_piece_by_piece_is_the_same_as_whole(kind):
    log = LOGS["cranks at 10 Hz"]
    check_cut(kind, log, range(kind.length(log)))
    slow = LOGS["busy at 0.2 Hz"]
    check_cut(kind, slow, range(kind.length(slow)))


def test_a_gap_that_ends_on_a_row_without_amps_is_remembered_wherever_the_log_is_cut():
    seconds, amps = [0, 1, 2, 3, 4, 200, 201, 202, 203, 204], np.full(10, -5.0)
    amps[5:7] = np.nan
    log = Log("short", Block(np.array(seconds) * SECOND_US, np.full(10, 12.6), amps))
    for begin in range(11):
        for end in range(begin, 11):
            check_cut(OfBinner, log, [begin, end])


@each_subject
def test_random_lives_piece_by_piece_are_the_same_as_whole(kind):
    for log in LIVES:
        check_cut(kind, log, range(kind.length(log)))


@each_subject
def test_random_lives_with_a_restart_now_and_then_are_the_same_as_whole(kind):
    for log in LIVES[::3]:
        length = kind.length(log)
        check_resume(kind, log, [length // 3, length // 2, max(length - 2, 0)])


@given(st.integers(0, 2**20), st.data())
def test_the_engine_does_not_care_where_a_random_life_is_cut(seed, data):
    log = random_log(seed)
    cuts = data.draw(st.lists(st.integers(0, len(log.block)), max_size=8))
    check_cut(OfEngine, log, cuts)
    check_resume(OfEngine, log, cuts)


IN_ANOTHER_PROCESS = """
import json, sys
import numpy as np
from monitor.base.ledger import Ledger
from monitor.base.samples import Block
from monitor.base.state import from_plain
from monitor.detect import Engine, Facts
given = json.load(sys.stdin)
engine = Engine.restore(Facts(), given["snapshot"])
ended = engine.update(from_plain(given["rest"]))
sys.stdout.write(engine.document(ended, Ledger()).model_dump_json())
"""


def test_a_new_process_goes_on_where_the_old_one_stood():
    from monitor.base.state import to_plain

    log = BUSY
    whole, first = Engine(log.facts), Engine(log.facts)
    at = 1400
    first.update(log.block[:at])
    whole.update(log.block[:at])
    given = json.dumps({"snapshot": first.snapshot(), "rest": to_plain(log.block[at:])})
    done = subprocess.run(
        [sys.executable, "-c", IN_ANOTHER_PROCESS], input=given, capture_output=True, text=True, check=True
    )
    ended = whole.update(log.block[at:])
    assert done.stdout == whole.document(ended, Ledger()).model_dump_json()


def test_a_memory_of_another_version_is_refused():
    snapshot = Engine(Facts()).snapshot()
    with pytest.raises(ValueError, match="version"):
        Engine.restore(Facts(), {**snapshot, "version": -1})


def test_the_busy_life_is_busy():
    engine = Engine(BUSY.facts)
    found = engine.document(engine.update(BUSY.block), Ledger())
    assert len(found.drives) == 2
    assert len(found.drives[0].stops) == 1
    assert len(found.stands) == 2
    assert [len(stand.wake_ups) > 0 for stand in found.stands] == [True, True]
    assert len(found.stands[1].charges) == 1
    assert len(found.log.gaps) == 1
