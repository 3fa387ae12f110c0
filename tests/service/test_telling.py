"""What the service says on stderr: a line an event, what stands told now and then, recovery once, secrets hidden."""

import io
import logging

from monitor.service.telling import AGAIN_S, LOG, Telling, set_up
from tests.service.fakes import FakeClock


def test_a_trouble_that_goes_on_is_told_now_and_then_with_its_age() -> None:
    clock, shown = FakeClock(), []
    told = Telling("van", lambda level, text: shown.append(text), clock)
    for _ in range(int(2.5 * AGAIN_S)):
        told.stands("link", "unplugged")
        clock.go(1.0)
    told.over("link", "speaks")
    told.over("link", "speaks")
    assert shown == [
        "van: unplugged",
        "van: unplugged (for 10 min now)",
        "van: unplugged (for 20 min now)",
        "van: speaks (recovered after 25 min)",
    ]


def test_another_reason_is_told_at_once() -> None:
    shown: list[str] = []
    told = Telling("van", lambda level, text: shown.append(text), FakeClock())
    told.stands("link", "unplugged")
    told.stands("link", "port taken")
    assert shown == ["van: unplugged", "van: port taken"]
    assert told.standing() == ["port taken"]


def line(environment: dict[str, str], level: int, text: str, **more: object) -> str:
    out = io.StringIO()
    root = logging.getLogger()
    before, level_before = root.handlers[:], root.level
    try:
        set_up(environment, lambda: ["tok123"], out)
        LOG.log(level, text, **more)  # type: ignore[arg-type]  # exc_info
    finally:
        root.handlers[:] = before
        root.setLevel(level_before)
    return out.getvalue()


def test_under_the_service_manager_a_line_has_its_priority_and_no_time() -> None:
    assert line({"JOURNAL_STREAM": "8:1"}, logging.WARNING, "a step") == "<4>a step\n"


def test_elsewhere_a_line_has_its_time() -> None:
    assert line({}, logging.WARNING, "a step").endswith(" warning a step\n")


def test_a_secret_and_a_line_end_never_reach_the_log() -> None:
    assert line({"JOURNAL_STREAM": "8:1"}, logging.ERROR, "POST tok123\nfailed") == "<3>POST (secret)?failed\n"


def test_a_fault_is_one_line_with_its_place() -> None:
    try:
        raise ZeroDivisionError("odd")
    except ZeroDivisionError as fault:
        said = line({"JOURNAL_STREAM": "8:1"}, logging.ERROR, "it failed", exc_info=fault)
    assert said.count("\n") == 1
    assert "test_telling.py" in said
    assert "ZeroDivisionError: odd" in said
