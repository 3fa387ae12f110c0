"""Delimited text in all the shapes that loggers write it."""

import gzip
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from monitor.sources.lines import CHUNK, LONGEST_LINE
from tests.sources.conftest import Read

HEADER = "time,volts,amps,celsius\n"
ROWS = "2024-03-01T12:00:00.25Z,12.51,-0.032,18.5\n2024-03-01T12:00:01.25Z,12.50,-0.031,18.6\n"
PLAIN = HEADER + ROWS
T0 = 1_709_294_400_250_000  # date -u -d 2024-03-01T12:00:00.25Z +%s%6N


def _same_as_plain(read: Read, content: str | bytes, name: str = "log.csv", **settings: Any) -> None:
    whole = read(content, names=(name,), log=settings)
    assert whole.t_us.tolist() == [T0, T0 + 1_000_000]
    assert whole.volts.tolist() == [12.51, 12.50]
    assert whole.amps is not None
    assert whole.amps.tolist() == [-0.032, -0.031]
    assert whole.celsius is not None
    assert whole.celsius.tolist() == [18.5, 18.6]
    assert whole.ledger.refused == {}
    assert whole.ledger.samples == 2


def test_commas(read: Read) -> None:
    _same_as_plain(read, PLAIN)


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_other_separators(read: Read, separator: str) -> None:
    _same_as_plain(read, PLAIN.replace(",", separator))


def test_decimal_comma(read: Read) -> None:
    header, rows = HEADER.replace(",", ";"), ROWS.replace(",", ";").replace(".", ",").replace(",25Z", ".25Z")
    _same_as_plain(read, header + rows)


def test_quoted_decimal_comma_between_commas(read: Read) -> None:
    _same_as_plain(
        read,
        HEADER + '"2024-03-01T12:00:00.25Z","12,51","-0,032","18,5"\n2024-03-01T12:00:01.25Z,"12,50","-0,031","18,6"\n',
    )


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_encodings(read: Read, encoding: str) -> None:
    _same_as_plain(read, PLAIN.encode(encoding))


def test_degree_sign_in_a_one_byte_encoding(read: Read) -> None:
    _same_as_plain(read, PLAIN.replace("celsius", "temp [°C]").encode("cp1252"))


@pytest.mark.parametrize("ending", ["\r\n", "\r"])
def test_line_endings_of_other_systems(read: Read, ending: str) -> None:
    _same_as_plain(read, PLAIN.replace("\n", ending).encode())


def test_gzip_by_its_content_whatever_the_name(read: Read) -> None:
    _same_as_plain(read, gzip.compress(PLAIN.encode()), name="log.csv")


def test_gzip_members_one_after_the_other(read: Read) -> None:
    _same_as_plain(read, gzip.compress(HEADER.encode()) + gzip.compress(ROWS.encode()))


def test_zstd(read: Read) -> None:
    packed = pa.compress(PLAIN.encode(), codec="zstd", asbytes=True)
    _same_as_plain(read, packed, name="log.csv.zst")


def test_title_and_comment_lines_before_the_header(read: Read) -> None:
    _same_as_plain(read, "Night log of volts, 3 channels\n\n# made at home\n// so there\nSerial: 12, rev 3\n" + PLAIN)


def test_header_in_a_comment(read: Read) -> None:
    _same_as_plain(read, "# " + PLAIN)


def test_row_of_units_below_the_header(read: Read) -> None:
    rows = ROWS.replace("12.51,-0.032", "12510,-32").replace("12.50,-0.031", "12500,-31")
    whole = read(HEADER + "s,mV,mA,degC\n" + rows)
    np.testing.assert_allclose(
        whole.volts, [12.51, 12.50], rtol=1e-15
    )  # one multiplication: half a unit in the last place
    assert whole.ledger.refused == {}


def test_comments_and_blank_lines_among_the_data_are_no_rows(read: Read) -> None:
    first, second = ROWS.splitlines(keepends=True)
    _same_as_plain(read, HEADER + first + "\n# key off\n   \n" + second + "\n")


def test_columns_that_are_none_of_ours(read: Read) -> None:
    rows = ROWS.splitlines()
    _same_as_plain(read, f'note,{HEADER.strip()},rpm\nhallo,{rows[0]},800\n"so, so",{rows[1]},\n')


def test_a_separator_at_the_end_of_each_row(read: Read) -> None:
    _same_as_plain(read, HEADER + ROWS.replace("\n", ",\n"))


def test_without_a_header_the_vehicle_file_numbers_the_columns(read: Read) -> None:
    _same_as_plain(read, ROWS, time={"column": 1}, volts={"column": 2}, amps={"column": 3}, celsius={"column": 4})


def test_columns_named_in_the_vehicle_file(read: Read) -> None:
    header = "when,first,second,third\n"
    _same_as_plain(
        read, header + ROWS, time={"column": "when"}, volts={"column": "first"}, amps={"column": "second"},
        celsius={"column": "third"},
    )  # fmt: skip


def test_positive_is_discharge(read: Read) -> None:
    _same_as_plain(read, HEADER + ROWS.replace("-0.03", "0.03"), amps={"positive": "discharge"})


def test_reversed_current_sign(read: Read) -> None:
    whole = read(PLAIN, current_sign="reversed")
    assert whole.amps is not None
    assert whole.amps.tolist() == [0.032, 0.031]


def test_an_unended_last_line_is_refused_even_if_it_reads_well(read: Read) -> None:
    whole = read(PLAIN + "2024-03-01T12:00:02.25Z,12.4")
    assert whole.volts.tolist() == [12.51, 12.50]
    assert whole.ledger.refused == {"cut-off last line": 1}
    assert whole.ledger.first["cut-off last line"][0].line == 4


def test_a_last_line_whose_number_may_be_cut_is_refused(read: Read) -> None:
    whole = read(PLAIN.removesuffix("\n"))
    assert whole.volts.tolist() == [12.51]
    assert whole.ledger.refused == {"cut-off last line": 1}


def test_packed_log_cut_off_keeps_what_precedes_the_cut(read: Read) -> None:
    rng = np.random.default_rng(3)
    rows = "".join(f"{1_700_000_000 + i},{v:.6f}\n" for i, v in enumerate(12 + rng.random(5000)))
    whole_log = gzip.compress(("time,volts\n" + rows).encode())
    whole = read(whole_log[: len(whole_log) // 2])
    assert 2000 < len(whole.t_us) < 3000
    assert whole.ledger.refused["packed data cut off or damaged"] == 1


def test_refused_lines_have_the_numbers_an_editor_shows(read: Read) -> None:
    whole = read("title\n# remark\n" + HEADER + ROWS + "\n# remark\nrubbish\n2024-03-01T12:00:05Z,x,1,2\n")
    assert [line.line for line in whole.ledger.first["wrong number of fields"]] == [8]
    kept = whole.ledger.first["volts not a number (rest of row kept)"]
    assert [(line.line, line.text) for line in kept] == [(9, "2024-03-01T12:00:05Z,x,1,2")]


@pytest.mark.parametrize("chunk_bytes", [1, 7, 64, 1000])
def test_line_numbers_do_not_depend_on_the_chunk(read: Read, chunk_bytes: int) -> None:
    whole = read(PLAIN + "\nrubbish\n" + ROWS.replace("12:00", "13:00") + "more rubbish\n", chunk_bytes=chunk_bytes)
    assert [line.line for line in whole.ledger.first["wrong number of fields"]] == [5, 8]


def test_a_quote_never_swallows_the_lines_below(read: Read) -> None:
    whole = read('time,volts,note\n1,12.1,"a\n2,12.2,b"\n3,12.3,"c, d"\n')
    assert whole.volts.tolist() == [12.3]
    assert whole.ledger.refused == {"quote not closed": 2}


def test_a_quote_and_a_stray_carriage_return_do_not_make_up_for_each_other(read: Read) -> None:
    whole = read('time,volts,note\n1,12.1,"a\n2,12.2,b"\n3,12.3,x\r4,12.4,y\n5,12.5,z\n')
    assert whole.volts.tolist() == [12.5]
    assert whole.ledger.refused == {"quote not closed": 2, "wrong number of fields": 1}


def test_a_line_without_end_is_refused_as_one_line(read: Read) -> None:
    endless = "x" * (LONGEST_LINE + 3 * CHUNK)
    whole = read(PLAIN + endless + "\nrubbish\n" + ROWS.replace("12:00", "13:00"))
    assert len(whole.t_us) == 4
    assert whole.ledger.refused == {"line too long": 1, "wrong number of fields": 1}
    assert whole.ledger.first["line too long"][0].line == 4
    assert whole.ledger.first["wrong number of fields"][0].line == 5


def test_a_header_repeated_by_a_restarted_logger(read: Read) -> None:
    whole = read(PLAIN + HEADER + ROWS.replace("12:00", "13:00"))
    assert len(whole.t_us) == 4
    assert whole.ledger.refused == {"header repeated": 1}


def test_progress_ends_with_all_bytes(read: Read) -> None:
    seen: list[tuple[int, int]] = []
    read(
        PLAIN,
        gzip.compress(PLAIN.replace("12:00", "14:00").encode()),
        progress=lambda done, total: seen.append((done, total)),
    )
    assert seen == sorted(seen)
    assert seen[-1][0] == seen[-1][1] > len(PLAIN)
