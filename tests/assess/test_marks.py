"""Marks: read strictly, and what changed at each is told with its interval."""

from datetime import UTC
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.assess.marks import MarksFile, MarkWatch, marks_of, read_marks_csv, repair_of
from monitor.base.documents import load_document
from monitor.base.errors import InputError, SettingError
from monitor.base.results import Log, Mark, Result, Stand, WakeUpGroup
from monitor.base.samples import Block
from tests.assess.weeks import at

MINUTE = 60_000_000
START = at("2025-03-03T20:00")
STAND = Result(log=Log(first=START, last=START + 240 * MINUTE), stands=[Stand(start=START, end=START + 240 * MINUTE)])


def block(change_at: int | None, to_ma: float, seed: int = 3, minutes: int = 240) -> Block:
    """A drain of 120 mA that changes at a minute, with a noise of 1 mA, one sample in 5 s."""
    t_us = np.arange(START, START + minutes * MINUTE, 5_000_000)
    drain = np.full(len(t_us), 0.120)
    if change_at is not None:
        drain[t_us >= START + change_at * MINUTE] = to_ma / 1000
    drain += np.random.default_rng(seed).normal(0, 0.001, len(t_us))
    return Block(t_us, np.full(len(t_us), 12.5), -drain)


def effect(blocks, *places, kind="fuse out", result=STAND):
    watch = MarkWatch([Mark(at=START + place * MINUTE, kind=kind, text="F23") for place in places])
    for _ in watch.passing(blocks):
        pass
    return watch.effects(result)[0].effect


def test_a_fuse_that_carried_the_drain_shows_its_current():
    found = effect([block(100, 21)], 100)
    assert found.amps_before == pytest.approx(0.120, abs=0.0005)
    assert found.low_a <= -0.099 <= found.high_a
    assert found.high_a - found.low_a < 0.001  # 60 minutes of 12 samples at 1 mA: a standard error near 0.1 mA
    assert found.text.startswith("The level fell")


def test_a_fuse_that_carried_nothing_changes_nothing():
    found = effect([block(None, 0)], 100)
    assert found.low_a <= 0 <= found.high_a
    assert "Nothing changed" in found.text


def test_nothing_changed_soon_after_is_no_answer_yet():
    found = effect([block(None, 0, minutes=112)], 100)
    assert found.text == "Nothing changed: reclosed circuits wake modules for up to 30 min, wait."


def test_a_level_that_rises_after_refitting_is_told_to_wait():
    found = effect([block(100, 400, minutes=115)], 100, kind="fuse in")
    assert "rose" in found.text
    assert "wait" in found.text


def test_a_wake_up_of_some_minutes_does_not_move_the_level():
    drain = block(100, 21)
    amps = drain.amps.copy()
    woken = (drain.t_us >= START + 145 * MINUTE) & (drain.t_us < START + 150 * MINUTE)
    amps[woken] -= 1.0
    found = effect([Block(drain.t_us, drain.volts, amps)], 100)
    assert found.change_a == pytest.approx(-0.099, abs=0.001)


def test_the_next_mark_ends_the_view():
    found = effect([block(110, 21)], 100, 110)
    assert found.low_a <= 0 <= found.high_a


def test_cutting_the_log_anyhow_changes_nothing():
    whole = block(100, 21)
    cuts = [0, 1, 7, 900, 1300, 1301, len(whole)]
    pieces = [whole[a:b] for a, b in pairwise(cuts)]
    assert effect(pieces, 100).change_a == pytest.approx(effect([whole], 100).change_a, abs=1e-12)


def test_a_mark_without_current_around_it_has_no_known_effect():
    volts = block(None, 0)
    found = effect([Block(volts.t_us, volts.volts)], 100)
    assert found.change_a is None
    assert "unknown" in found.text


def test_minutes_while_driving_are_no_level():
    driving = STAND.model_copy(update={"stands": [Stand(start=START + 130 * MINUTE, end=START + 240 * MINUTE)]})
    assert effect([block(None, 0)], 100, result=driving).change_a is None


def groups(last_minute: int, count: int = 10) -> Result:
    group = WakeUpGroup(
        group=4, count=count, excess_a=0.18, duration_s=45, charge_ah=0.02,
        first=START, last=START + last_minute * MINUTE,
    )  # fmt: skip
    return STAND.model_copy(update={"wake_up_groups": [group]})


def test_a_group_that_was_due_and_did_not_come_has_ended():
    assert effect([block(None, 0)], 100, result=groups(95)).groups_ended == [4]


def test_a_group_that_came_again_has_not_ended():
    assert effect([block(None, 0)], 100, result=groups(105)).groups_ended == []


def test_a_group_that_was_hardly_due_has_not_ended():
    assert effect([block(None, 0)], 100, result=groups(95, count=2)).groups_ended == []  # 2 in 100 min: 2.8 due


def test_toml_and_csv_say_the_same(tmp_path):
    toml = tmp_path / "marks.toml"
    toml.write_text(
        '[[marks]]\nat = 2025-04-11T12:13:00\nkind = "repair"\ntext = "relay"\n'
        '[[marks]]\nat = "2025-04-10T19:40+00:00"\nkind = "fuse-out"\ntext = "F23"\n'
    )
    zone = ZoneInfo("Europe/Oslo")
    of_toml = marks_of(load_document(toml, MarksFile).marks, zone, "marks.toml")
    text = "at,kind,text\n2025-04-11T12:13,repair,relay\n# later\n2025-04-10T19:40Z,fuse out,F23\n"
    assert read_marks_csv(text, "marks.csv", zone) == of_toml
    assert [mark.kind for mark in of_toml] == ["fuse out", "repair"]
    assert repair_of(of_toml) == at("2025-04-11T10:13")


WRONG = {
    "another header": ("time,kind,text\n", "expected the header at,kind,text"),
    "a kind that is none": ("at,kind,text\n2025-04-11,repare,x\n", 'line 2: unknown kind "repare"'),
    "a time that is none": ("at,kind,text\n\nnoon,repair,x\n", "line 3: expected an ISO 8601 time"),
    "too many fields": ("at,kind,text\n2025-04-11,repair,x,y\n", "line 2: expected 3 fields"),
    "no mark": ("at,kind,text\n", "no mark below the header"),
}


@pytest.mark.parametrize(("text", "said"), WRONG.values(), ids=WRONG.keys())
def test_a_wrong_csv_is_refused_with_its_line(text, said):
    with pytest.raises((InputError, SettingError), match=said):
        read_marks_csv(text, "marks.csv", UTC)


def test_a_wrong_toml_is_refused_with_its_line(tmp_path):
    toml = tmp_path / "marks.toml"
    toml.write_text('[[marks]]\nat = 2025-04-11T12:13:00\nkind = "repare"\n')
    with pytest.raises(SettingError, match="line 3") as refused:
        load_document(toml, MarksFile)
    assert "repair" in refused.value.remedy


def test_marks_without_a_repair_cannot_be_confirmed():
    with pytest.raises(SettingError, match="no mark of the kind repair"):
        repair_of([Mark(at=1, kind="note", text="x")])
