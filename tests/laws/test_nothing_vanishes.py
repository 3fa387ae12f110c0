"""Each line of a log is a sample, or is counted: refused under a reason, a duplicate, or merged into a sample."""

import contextlib
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.base.errors import InputError
from monitor.base.ledger import FIRST_SHOWN
from monitor.base.vehicle import LogSettings
from monitor.detect import Facts, replay
from monitor.sources import open_logs

GARBAGE = ["garbage", "?;?", "12.3", "\x07\x1b", "far,too,many,cells,in,it", ",,", "2025-13-45T99:00:00Z,12.5,-0.02"]

cells = st.sampled_from(["12.6", "12.55", "nan", "NaN", "OL", "", "99", "-3", "0.3", "x", "1e9", "14.2", "12,5", "--"])
amps = st.sampled_from(["-0.02", "-0.5", "", "OL", "5000", "y", "6", "nan", "0"])
seconds = st.integers(0, 3000)
good = st.tuples(seconds, st.sampled_from(["12.6", "12.58", "14.1"]), st.sampled_from(["-0.02", "4"]))
rows = st.lists(
    st.one_of(good, good, good, st.tuples(seconds, cells, amps), st.sampled_from(GARBAGE)), min_size=1, max_size=60
)


def text_of(row):
    if isinstance(row, str):
        return row
    second, volts, current = row
    return f"2025-03-04T{6 + second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}Z,{volts},{current}"


def replayed(lines, newline="\n", chunk_bytes=1 << 20):
    """The document of a file of these lines, and the log it was read from; None where it holds nothing usable."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        path = Path("night.csv")
        path.write_text(newline.join(["time,volts,amps", *lines, ""]), encoding="utf-8", newline="")
        try:
            log = open_logs([path], LogSettings(), chunk_bytes=chunk_bytes)
            return replay(log.blocks(), log.ledger, Facts()), log
        except InputError as error:
            assert error.remedy
            return None


def cell_faults(refused):
    """Counts of single readings that were left out of a row that was kept."""
    return sum(count for reason, count in refused.items() if "rest of row kept" in reason)


@given(rows, st.sampled_from(["\n", "\r\n"]))
def test_every_line_is_a_sample_or_is_counted(made, newline):
    lines = [text_of(row) for row in made]
    done = replayed(lines, newline)
    if done is None:
        return
    document, log = done
    written = sum(1 for line in lines if line.strip())
    refused = sum(document.log.refused.values()) - cell_faults(document.log.refused)
    assert document.log.samples + refused + document.log.duplicates + log.merged + log.others == written


@given(rows)
def test_in_time_order_nothing_is_reordered(made):
    order = sorted((row for row in made if not isinstance(row, str)), key=lambda row: row[0])
    done = replayed([text_of(row) for row in order])
    if done is not None:
        assert done[0].log.reordered == 0


@given(rows)
def test_the_engine_counts_the_samples_the_source_gave(made):
    done = replayed([text_of(row) for row in made])
    if done is not None:
        document, log = done
        assert document.log.samples == log.ledger.samples


@given(rows)
def test_the_first_lines_of_each_reason_are_shown_with_their_numbers(made):
    lines = [text_of(row) for row in made]
    done = replayed(lines)
    if done is None:
        return
    found = done[0].log
    assert set(found.refused_first) == set(found.refused)
    for reason, shown in found.refused_first.items():
        assert len(shown) == min(found.refused[reason], FIRST_SHOWN)
        for row in shown:
            assert 2 <= row.line <= len(lines) + 1


@settings(max_examples=20)
@given(rows, st.integers(40, 400))
def test_the_books_do_not_depend_on_how_the_file_is_read(made, chunk_bytes):
    lines = [text_of(row) for row in made]
    whole, chunked = replayed(lines), replayed(lines, chunk_bytes=chunk_bytes)
    assert (whole is None) == (chunked is None)
    if whole is not None and chunked is not None:
        assert whole[0].model_dump_json() == chunked[0].model_dump_json()


def test_the_garbage_is_refused_and_not_passed_over():
    lines = [*(text_of((s, "12.6", "-0.02")) for s in range(20)), *GARBAGE]
    done = replayed(lines)
    assert done is not None
    document, log = done
    assert document.log.samples == 20
    assert sum(document.log.refused.values()) + log.others == len(GARBAGE)
    assert sum(document.log.refused.values()) >= len(GARBAGE) - 1  # ",," is a row without any of our channels
