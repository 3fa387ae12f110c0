"""What is no usable log is refused in two lines: what was found where, and what to do."""

import os
from pathlib import Path

import pytest

from monitor.base.errors import InputError
from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from tests.sources.conftest import Refused


@pytest.mark.parametrize("content", [b"", b"\n\n  \n", b"\xef\xbb\xbf"])
def test_an_empty_log(refused: Refused, content: bytes) -> None:
    assert "empty file" in refused(content).what


def test_a_header_without_rows(refused: Refused) -> None:
    assert "no rows" in refused("time,volts\n").what


def test_binary_data(refused: Refused) -> None:
    assert "binary data" in refused(bytes(range(256)) * 20).what


def test_prose(refused: Refused) -> None:
    error = refused("Dear diary,\ntoday the car did not start.\n")
    assert "Dear diary" in error.what


def test_no_volts_column_lists_the_columns_and_the_setting(refused: Refused) -> None:
    error = refused("title\ntime,rpm,probe\n1,800,12.5\n")
    assert "line 2" in error.what
    assert "time, rpm, probe" in error.what
    assert error.remedy.endswith('[log] volts = { column = "rpm" }')


def test_amps_alone_are_not_enough(refused: Refused) -> None:
    assert "no column holds volts" in refused("time,amps\n1,-1\n").what


def test_no_time_column(refused: Refused) -> None:
    error = refused("volts,rpm\n12.5,800\n")
    assert "no time column" in error.what
    assert "[log] time" in error.remedy


def test_no_header_at_all(refused: Refused) -> None:
    error = refused("2024-03-01T12:00:00Z,12.5\n2024-03-01T12:00:01Z,12.5\n")
    assert "2024-03-01T12:00:00Z,12.5" in error.what
    assert "time = { column = 1 }, volts = { column = 2 }" in error.remedy


@pytest.mark.parametrize(("channel", "unit"), [("volts", "dB"), ("amps", "VA"), ("celsius", "bar")])
def test_an_unknown_unit_in_the_header(refused: Refused, channel: str, unit: str) -> None:
    titles = {"volts": "volts", "amps": "amps", "celsius": "temp"}
    titles[channel] += f" [{unit}]"
    error = refused(f"time,{titles['volts']},{titles['amps']},{titles['celsius']}\n1,12.5,1,20\n")
    assert f'unit "{unit}" is not known for {channel}' in error.what
    assert "line 1" in error.what


def test_a_named_column_that_is_not_there(refused: Refused) -> None:
    error = refused("time,volts\n1,12.5\n", log={"amps": {"column": "I"}})
    assert 'no column "I" for amps' in error.what
    assert "time, volts" in error.what


def test_rows_of_which_none_can_be_used_show_the_first(refused: Refused) -> None:
    error = refused("time,volts\n1,x\n2,y\n")
    assert "line 2" in error.what
    assert "'1,x'" in error.what


def test_volts_that_are_blank_throughout(refused: Refused) -> None:
    assert "no row holds volts" in refused("time,volts,amps\n1,,5\n2,,5\n").what


@pytest.mark.parametrize("name", ["gone.csv", "gone*.csv"])
def test_no_such_file(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match=r"no such file|no file fits this pattern"):
        open_logs([tmp_path / name], LogSettings())


def test_a_directory_without_logs(tmp_path: Path) -> None:
    (tmp_path / "README.md").write_text("nothing here")
    with pytest.raises(InputError, match="no logs in this directory"):
        open_logs([tmp_path], LogSettings())


def test_no_path_at_all() -> None:
    with pytest.raises(InputError, match="no log was given"):
        open_logs([], LogSettings())


@pytest.mark.skipif(os.geteuid() == 0, reason="the administrator may read every file")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,volts\n1,12\n")
    path.chmod(0)
    with pytest.raises(InputError, match="cannot be read"):
        open_logs([path], LogSettings())
