"""The verdict's text: first of all, in order, and whole at any width."""

import io

import pytest

from monitor.assess.verdict import judge
from monitor.base.results import OtherCause, Result, Verdict
from monitor.views.replay import print_replay
from monitor.views.verdict import headline, verdict_rows
from tests.assess.verdict_logs import CAR, crank, days, log_of
from tests.views.example import RESULT, ZONE

WIDTHS = [60, 120]


def text_of(result: Result, width: int) -> str:
    file = io.StringIO()
    print_replay(result, ZONE, file=file, width=width)
    return file.getvalue()


def judged() -> Result:
    result = log_of(*days(night={"amps": 0.35}, trip={"started": crank(0, resistance_mohm=9.5)}))
    result.verdict = judge(result, CAR)
    return result


@pytest.mark.parametrize("width", WIDTHS)
def test_the_verdict_comes_before_log_stands_and_drives(width: int) -> None:
    text = text_of(judged(), width)
    order = [text.index(word) for word in ("drains the battery", "Because", "Next", "Log", "Stood", "Drove")]
    assert order == sorted(order)


@pytest.mark.parametrize("width", WIDTHS)
def test_all_of_the_verdict_is_printed_and_no_line_is_too_wide(width: int) -> None:
    result = judged()
    assert result.verdict is not None
    text = text_of(result, width)
    assert all(len(line) <= width and line == line.rstrip() for line in text.splitlines())
    words = " ".join(text.split())
    for part in (*result.verdict.because, *result.verdict.against, *result.verdict.missing, *result.verdict.next):
        assert " ".join(part.split()) in words


def test_without_a_verdict_the_text_says_that_there_is_none() -> None:
    text = text_of(RESULT, 120)
    assert "not a verdict" in text
    assert "not a verdict" not in text_of(judged(), 120)


def test_further_causes_are_named_with_how_sure_they_are() -> None:
    found = Verdict(cause="drain", confidence=0.9, also=[OtherCause(cause="battery", confidence=0.4)])
    assert verdict_rows(found)[0].text == "possible: battery (40 %)"


def test_nothing_is_ever_said_to_be_100_percent_certain() -> None:
    assert "99 %" in headline(Verdict(cause="drain", confidence=0.9999))


def test_next_steps_are_numbered_in_their_order() -> None:
    found = Verdict(cause="sound", confidence=0.9, next=["look", "measure"])
    assert [row.text for row in verdict_rows(found)] == ["1. look", "2. measure"]
    assert [row.label for row in verdict_rows(found)] == ["Next", ""]


def test_the_document_carries_the_verdict_and_reads_back() -> None:
    result = judged()
    again = Result.model_validate_json(result.model_dump_json())
    assert again.verdict is not None
    assert again.verdict.cause == "drain"
    assert again.verdict.because == result.verdict.because  # type: ignore[union-attr]  # judged has one
