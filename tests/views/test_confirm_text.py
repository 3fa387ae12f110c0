"""The text of a confirmation: the answer first, every width, what is unknown called so."""

import io
from datetime import UTC

import pytest

from monitor.assess.confirm import confirm
from monitor.views.confirm import print_confirmation
from tests.assess.weeks import repaired_after, week

BAD, SOUND = [441.0, 440.2, 441.7, 439.9, 440.6], [21.0, 20.4, 20.9, 21.3, 20.7]


def text_of(before: list[float], after: list[float], width: int = 100) -> str:
    out = io.StringIO()
    found = confirm(week([*before, *after], [3] * len(before) + [0] * len(after)), repaired_after(len(before)), UTC)
    print_confirmation(found, UTC, out, width)
    return out.getvalue()


@pytest.mark.parametrize("width", [40, 60, 120])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    assert max(len(line) for line in text_of(BAD, SOUND, width).splitlines()) <= width


ANSWERS = {
    "Proven: the repair holds.": (BAD, SOUND),
    "Not yet proven. It takes 2 more quiet nights.": (BAD, SOUND[:3]),
    "Failed: the fault is still there.": (BAD, BAD[:2]),
}


@pytest.mark.parametrize("answer", ANSWERS)
def test_the_answer_comes_first(answer: str) -> None:
    assert text_of(*ANSWERS[answer]).splitlines()[:2] == ["van", answer]


def test_the_figures_have_p_and_interval() -> None:
    text = text_of(BAD, SOUND)
    assert "Sleep current (the answer rests on this)" in text
    assert "Median 441 before, 20.9 after; shift −420 mA (95 % interval −421 to −419); p = 0.0040." in text


def test_an_interval_that_few_nights_cannot_carry_is_told_as_such() -> None:
    assert "so few nights carry no 95 % interval" in text_of(BAD[:3], SOUND[:3])


def test_cautions_of_the_trade_stand_at_the_end() -> None:
    assert "service manual prevails" in text_of(BAD, SOUND)
