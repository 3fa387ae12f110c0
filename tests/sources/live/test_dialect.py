"""What the first lines say about the others: headers, columns by number, lines without a time, streams of records."""

from typing import Any

import pytest

from monitor.sources.live.stream import Habits
from tests.sources.live.conftest import PLAIN, START_S, Clock, Said, feed, listen, on_pieces
from tests.sources.live.wires import HEAD, START_US, rows

MID = Habits(starts_mid=True)
ROWS = b"".join(b"12.%02d,-0.021\n" % i for i in range(30))
NOW_US = round((START_S + 100.0) * 1e6)


def hear(data: bytes, log: dict[str, Any] | None = None, habits: Habits = PLAIN, **more: Any) -> Said:
    return listen(on_pieces(Clock(), [data], log, habits=habits, **more), 40)


def test_a_header_that_comes_later_is_recognised_and_rows_before_it_count() -> None:
    said = hear(rows(15) + HEAD + rows(15, first=15))
    assert said.t_us == [START_US + i * 1_000_000 for i in range(30)]
    assert not said.refused


def test_a_header_that_names_other_columns_makes_another_plan() -> None:
    other = b"time,temperature,current_mA,voltage\n" + b"".join(
        b"%d,21.5,-35,12.4\n" % (1750000100 + i) for i in range(30)
    )
    said = hear(HEAD + rows(30) + other)
    assert len(said.t_us) == 60
    assert said.channel("amps") == [-0.021] * 30 + [-0.035] * 30
    assert said.channel("celsius")[-30:] == [21.5] * 30
    assert not said.refused


def test_a_logger_of_a_line_now_and_then_is_understood_from_its_first_row_on() -> None:
    clock = Clock()
    logger = on_pieces(clock, [HEAD, rows(1)])
    said = listen(logger, 8)
    assert said.t_us == [START_US]
    assert said.states[-1] == "speaking"


def test_lines_without_time_get_that_of_their_arrival() -> None:
    said = hear(b"volts,amps\n" + ROWS)
    assert len(said.t_us) == 30
    assert all(NOW_US <= t <= NOW_US + 1_000_000 for t in said.t_us)
    assert (sorted(set(said.t_us)), said.arrivals[-1].stamped) == (said.t_us, True)
    assert said.channel("volts") == [12 + i / 100 for i in range(30)]


def test_bare_numbers_are_columns_when_the_vehicle_file_says_so() -> None:
    said = hear(ROWS, {"volts": 1, "amps": {"column": 2, "positive": "discharge"}})
    assert said.channel("amps") == [0.021] * 30


def test_a_time_among_the_numbers_is_found_without_being_named() -> None:
    data = b"".join(b"12.5;2025-06-15T14:00:%02dZ;-21\n" % i for i in range(30))
    said = hear(data, {"volts": 1, "amps": {"column": 3, "unit": "mA"}})
    assert (said.t_us[1] - said.t_us[0], said.arrivals[-1].stamped) == (1_000_000, False)


def test_a_lone_column_of_believable_volts_is_volts() -> None:
    assert hear(b"".join(b"12,%02d\n" % i for i in range(30))).channel("volts") == [12 + i / 100 for i in range(30)]


@pytest.mark.parametrize(
    ("data", "log", "says"),
    [
        (ROWS, {}, "give the columns by number"),
        (b"230.1\n" * 30, {}, "not a log"),
        (b"time,volts 1,volts 2\n" + b"1750000000,12.5,12.6\n" * 30, {}, "several columns could hold volts"),
        (HEAD + rows(30), {"volts": "U"}, "U"),
        (b"01/02/2025 12:00:00,12.5\n" * 30, {"time": 1, "volts": 2}, "give the columns by number"),
        (b'{"n":"u","u":"W","v":5,"t":1750000000}\n' * 30, {}, "no SenML record in V or mV"),
    ],
)  # fmt: skip
def test_what_is_not_clear_is_said_in_the_words_of_the_recorded_logs(
    data: bytes, log: dict[str, Any], says: str
) -> None:
    said = hear(data, log)
    assert said.states[-1] == "garbage"
    assert says in said.why
    assert not said.t_us


def test_lines_that_never_become_clear_are_refused_and_counted_in_bounded_memory() -> None:
    said = hear(ROWS * 100)
    assert said.refused["no header or setting says what the columns are"] >= 2800
    assert said.states[-1] == "garbage"


@pytest.mark.parametrize(
    ("data", "log", "refused"),
    [
        (b"2.61,-0.02\n" + ROWS, {"volts": 1, "amps": 2}, 1),
        (b"0000000,12.5,-0.021\n" + rows(30), {"time": 1, "volts": 2, "amps": 3}, 1),
        (b"volts,amps\n" + ROWS, {}, 0),
        (b"2025-06-15T14:00:00Z,12.5\n" * 30, {"time": 1, "volts": 2}, 0),
        (b"15T14:00:00Z,12.5\n" + b"2025-06-15T14:00:00Z,12.5\n" * 30, {"time": 1, "volts": 2}, 0),
    ],
)
def test_a_first_line_whose_beginning_may_be_missing_is_not_believed(
    data: bytes, log: dict[str, Any], refused: int
) -> None:
    said = hear(data, log, MID)
    assert said.refused.get("first line after opening: its beginning may be missing", 0) == refused
    assert 2.61 not in said.channel("volts")


def test_times_that_count_from_the_start_are_put_at_their_arrival() -> None:
    data = b"t_ms;volts\n" + b"".join(b"%d;12,5\n" % (100 * i) for i in range(30))
    said = hear(data)
    assert [b - a for a, b in zip(said.t_us[:-1], said.t_us[1:], strict=True)] == [100_000] * 29
    assert NOW_US <= said.t_us[0] <= NOW_US + 1_000_000
    assert said.arrivals[-1].stamped


def test_records_relative_to_now_are_put_at_their_arrival() -> None:
    """RFC 8428 §4.5.3: below 2^28 s a time counts from now, and a missing one is now."""
    line = b'[{"n":"u","u":"V","v":12.5},{"n":"u","u":"V","v":12.4,"t":-5},{"n":"i","u":"mA","v":-21,"t":-5}]\n'
    said = hear(line * 20)
    first = said.t_us[:3]
    assert first[0] == first[1] == first[2] - 5_000_000
    fed = feed(said.arrivals)
    assert fed.channel("amps")[0] == pytest.approx(-0.021)
    assert NOW_US <= first[2] <= NOW_US + 1_000_000


def test_an_endless_pack_is_read_as_it_comes_and_base_fields_hold() -> None:
    lines = [b'[{"bn":"car:","bt":1750000000,"n":"u","u":"V","v":12.5}\n']
    lines += [b',{"n":"u","u":"V","t":%d,"v":12.5}\n' % i for i in range(1, 40)]
    said = hear(b"".join(lines))
    assert said.t_us == [START_US + i * 1_000_000 for i in range(40)]


def test_a_pack_that_must_be_understood_and_is_not_is_refused_with_the_reason() -> None:
    good = b'{"n":"u","u":"V","t":%d,"v":12.5}\n'
    data = b"".join(good % (1750000000 + i) for i in range(25)) + b'{"n":"u","u":"V","t":1,"v":1,"new_":1}\n'
    said = hear(data)
    assert list(said.refused) == ['label "new_" must be understood, and is not (RFC 8428 §4.4)']


def test_lines_that_were_there_before_and_carry_no_time_are_refused() -> None:
    said = hear(b"volts,amps\n" + ROWS, old=True)
    assert said.refused == {"no time of its own, and there before this start": 30}
    assert not said.t_us


def test_a_line_without_end_is_given_up_in_bounded_memory() -> None:
    said = hear(HEAD + rows(25) + b"x" * 200_000 + b"\n" + rows(5, first=25))
    assert said.refused == {"line too long": 1}
    assert len(said.t_us) == 30
