"""The text of `keyoff replay`: golden copies at two widths, and the promises that no golden copy shows.

After a wanted change, rewrite the golden copies with KEYOFF_REWRITE=1 and read them aloud before committing.
"""

import io
import os
import re
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.base.fields import Span
from monitor.base.results import Crank, Drive, Log, Rest, Result, Stand
from monitor.views.replay import print_replay
from tests.views.example import NOTHING, RESULT, VOLTS_ALONE, ZONE, at

GOLDEN = Path(__file__).parent / "golden"


def text_of(result: Result, width: int = 120, zone: ZoneInfo | None = ZONE, encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding, newline="\n")
    print_replay(result, zone, file=file, width=width)
    file.flush()
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize("width", [120, 60])
@pytest.mark.parametrize(
    ("name", "result"), [("three_nights", RESULT), ("volts_alone", VOLTS_ALONE), ("nothing", NOTHING)]
)
def test_the_text_is_the_golden_copy(name: str, result: Result, width: int) -> None:
    path = GOLDEN / f"{name}_{width}.txt"
    text = text_of(result, width)
    if os.environ.get("KEYOFF_REWRITE"):
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [120, 79, 60, 40])
def test_no_line_is_wider_than_the_terminal_or_ends_in_spaces(width: int) -> None:
    for line in text_of(RESULT, width).splitlines():
        assert len(line) <= width
        assert line == line.rstrip()


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "cp437"])
def test_an_output_of_few_characters_still_gets_all_words(encoding: str) -> None:
    text = text_of(RESULT, encoding=encoding)
    assert "17:58 - Tue 4 Nov 08:12" in text or encoding == "cp1252"  # cp1252 has the dash
    assert re.search(r"8\.3\s+m(Ω|Ohm)", text)
    assert "estate car, blue" in text


def test_a_name_that_the_output_cannot_carry_is_marked_and_harmless() -> None:
    assert "car ? x" in text_of(Result(vehicle="car \N{AUTOMOBILE} x"), encoding="latin-1")


def test_nothing_from_a_log_can_command_the_terminal() -> None:
    assert "\x1b" not in text_of(RESULT)
    assert "?[31m" in text_of(RESULT)


def styled(monkeypatch: pytest.MonkeyPatch, **environment: str) -> str:
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    file = io.StringIO()
    monkeypatch.setattr(file, "isatty", lambda: True)
    print_replay(RESULT, ZONE, file=file, width=120)
    return file.getvalue()


def test_weight_and_colour_only_repeat_what_the_words_say(monkeypatch: pytest.MonkeyPatch) -> None:
    text = styled(monkeypatch, TERM="xterm-256color")
    assert "\x1b[1;31m" in text
    assert re.sub(r"\x1b\[[0-9;]*m", "", text) == text_of(RESULT)


def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch) -> None:
    colours = re.findall(r"\x1b\[(?:\d+;)*3[0-7]m", styled(monkeypatch, TERM="xterm-256color", NO_COLOR="1"))
    assert colours == []


def test_times_are_of_the_zone_asked_and_say_so() -> None:
    text = text_of(RESULT, zone=ZoneInfo("UTC"))
    assert "Times     UTC" in text
    assert "16:58 – Tue 4 Nov 07:12" in text


def test_without_a_zone_the_computers_own_is_used_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    monkeypatch.setenv("TZ", "EST5")
    time.tzset()
    try:
        text = text_of(RESULT, zone=None)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert "Times     EST, this computer's time zone" in text
    assert "11:58 – Tue 4 Nov 02:12" in text


def test_a_zone_of_repeated_hours_shows_each_side_in_its_own_hour() -> None:
    utc = 1_761_435_000_000_000  # 2025-10-25T23:30Z; Oslo turned its clocks back at 01:00Z
    stand = Stand(start=utc, end=utc + 3 * 3_600_000_000)
    assert "01:30 – 03:30" in text_of(Result(stands=[stand], log=Log(first=utc, last=stand.end)))


def absent(model: Any) -> Any:
    return text_of(Result(log=Log(first=0, last=10**10, channels=["volts", "amps"]), **model))


UNKNOWNS = {
    "a stand that knows nothing": {"stands": [Stand(start=1, end=10**10)]},
    "a stand without end": {"stands": [Stand(start=1, open=True)]},
    "a stand asleep at an unknown current": {"stands": [Stand(start=1, end=10**10, settled_at=5)]},
    "a drive that knows nothing": {"drives": [Drive(start=1, end=10**10)]},
    "a crank that knows nothing": {"drives": [Drive(start=1, end=10**10, crank=Crank(start=1))]},
    "a rest without figures": {"stands": [Stand(start=1, end=10**10, rest=Rest(basis="too short"))]},
}


@pytest.mark.parametrize("model", UNKNOWNS.values(), ids=UNKNOWNS.keys())
def test_what_is_unknown_is_called_unknown_and_never_zero(model: dict[str, Any]) -> None:
    text = absent(model)
    assert "unknown" in text
    assert not re.search(r"(?<![\d.:])0(\.0+)? (m?A|m?Ah|V|mV|%|s|min)\b", text), text


def test_a_log_without_current_says_that_as_the_reason() -> None:
    assert "Sleep current unknown: the log has no current." in text_of(VOLTS_ALONE)


def test_of_many_gaps_the_longest_are_told() -> None:
    gaps = [Span(start=at(f"3 {hour}:00"), end=at(f"3 {hour}:0{hour}")) for hour in range(1, 9)]
    log = Log(first=at("3 0:00"), last=at("3 9:00"), samples=5, gaps=gaps, unobserved_s=36 * 60)
    text = text_of(Result(log=log), width=400)
    assert "Gaps      36 min not observed in all; the longest: 8 min from Mon 3 Nov 2025 08:00, 7 min from" in text
    assert "4 min from" in text
    assert "3 min from" not in text


def test_many_charges_are_told_as_one_sentence_with_the_longest() -> None:
    charges = [Span(start=at(f"3 {hour}:00"), end=at(f"3 {hour}:{10 + hour}")) for hour in range(6)]
    text = text_of(Result(stands=[Stand(start=at("3 0:00"), end=at("3 9:00"), charges=charges)]), width=400)
    assert "On a charger or jump pack 6 times, 1 h 15 min in all; the longest, from 05:00 to 05:15 (15 min)." in text


def test_a_current_into_the_battery_while_asleep_is_not_called_a_drain() -> None:
    stand = Stand(
        start=at("3 0:00"),
        end=at("3 9:00"),
        settled_at=at("3 1:00"),
        sleep_current_a=-0.0089,
        sleep_current_low_a=-0.0095,
        sleep_current_high_a=-0.0082,
    )
    text = text_of(Result(stands=[stand]), width=400)
    assert "Asleep at 01:00, 8.9 mA flowing into the battery (95 % interval 8.2 to 9.5 mA)." in text


def test_stands_and_drives_come_in_time_order() -> None:
    text = text_of(RESULT)
    places = [text.index(words) for words in ("Stood 14 h", "Drove 32 min", "Stood 22 h", "Drove 15 min")]
    assert places == sorted(places)
