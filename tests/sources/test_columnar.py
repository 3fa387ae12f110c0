"""Parquet and Arrow logs."""

from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.feather
import pyarrow.parquet
import pytest

from monitor.base.errors import InputError
from monitor.base.vehicle import LogSettings
from monitor.sources import open_logs
from tests.sources.conftest import Whole, read_all

T0 = 1_709_294_400_000_000  # 2024-03-01T12:00:00Z


def _parquet(table: pa.Table, path: Path) -> None:
    pa.parquet.write_table(table, path)


def _file(table: pa.Table, path: Path) -> None:
    with pa.ipc.new_file(str(path), table.schema) as out:
        out.write_table(table)


def _stream(table: pa.Table, path: Path) -> None:
    with pa.ipc.new_stream(str(path), table.schema) as out:
        out.write_table(table)


def _feather(table: pa.Table, path: Path) -> None:
    pa.feather.write_feather(table, str(path))


def _read(table: pa.Table, tmp_path: Path, write: Any = _parquet, **log: Any) -> Whole:
    path = tmp_path / "log.bin"
    write(table, path)
    return read_all(open_logs([path], LogSettings.model_validate(log)))


def _table(**columns: Any) -> pa.Table:
    times = pa.array([T0, T0 + 1_000_000, T0 + 2_000_000], pa.timestamp("us", "UTC"))
    return pa.table({"time": times, "volts": [12.5, 12.4, 12.3]} | columns)


@pytest.mark.parametrize("write", [_parquet, _file, _stream, _feather])
def test_all_kinds_of_files(tmp_path: Path, write: Any) -> None:
    table = _table(current_mA=pa.array([-30, None, -32], pa.int32()), celsius=pa.array([18.5] * 3, pa.float32()))
    whole = _read(table, tmp_path, write)
    assert whole.t_us.tolist() == [T0, T0 + 1_000_000, T0 + 2_000_000]
    assert whole.volts.tolist() == [12.5, 12.4, 12.3]
    assert whole.amps is not None
    np.testing.assert_array_equal(whole.amps, [-0.03, np.nan, -0.032])
    assert whole.celsius is not None
    assert whole.celsius.tolist() == [18.5] * 3
    assert whole.ledger.refused == {}


@pytest.mark.parametrize(
    "times",
    [
        pa.array([T0 * 1000, T0 * 1000 + 1], pa.timestamp("ns", "UTC")).slice(0, 1),
        pa.array([T0 // 1000], pa.timestamp("ms", "Europe/Oslo")),
        pa.array([T0 // 1_000_000], pa.int64()),
        pa.array([T0 / 1e6], pa.float64()),
        pa.array([T0 // 1000], pa.uint64()),
        pa.array(["2024-03-01T12:00:00Z"]),
        pa.array(["01.03.2024 12:00:00"]),
    ],
)
def test_one_moment_in_many_types(tmp_path: Path, times: pa.Array) -> None:
    assert _read(pa.table({"time": times, "volts": [12.5]}), tmp_path).t_us.tolist() == [T0]


def test_times_without_a_zone_are_local_when_the_vehicle_file_says_so(tmp_path: Path) -> None:
    table = pa.table({"time": pa.array([T0], pa.timestamp("us")), "volts": [12.5]})
    assert _read(table, tmp_path, time={"zone": "Europe/Oslo"}).t_us.tolist() == [T0 - 3_600_000_000]
    whole = _read(table, tmp_path)
    assert whole.t_us.tolist() == [T0]
    assert any("taken as UTC" in notice for notice in whole.log.notices)


def test_the_only_column_of_a_time_type_is_the_time(tmp_path: Path) -> None:
    assert len(_read(_table().rename_columns(["index", "volts"]), tmp_path).t_us) == 3


def test_a_unit_in_the_metadata_of_a_column(tmp_path: Path) -> None:
    schema = pa.schema([("time", pa.timestamp("us", "UTC")), pa.field("volts", pa.float64(), metadata={"unit": "mV"})])
    table = pa.table([pa.array([T0], pa.timestamp("us", "UTC")), pa.array([12500.0])], schema=schema)
    assert _read(table, tmp_path).volts.tolist() == [12.5]


def test_flawed_cells_and_rows_are_counted_with_their_row(tmp_path: Path) -> None:
    table = pa.table(
        {
            "time": pa.array([T0, None, T0 + 2_000_000, T0 + 3_000_000], pa.timestamp("us", "UTC")),
            "volts": ["12.5", "12.4", "OL", "12.3"],
            "amps": [float("nan"), 1.0, 1.0, 5000.0],
        }
    )
    whole = _read(table, tmp_path)
    assert whole.ledger.samples == 3
    assert whole.ledger.refused == {
        "no time": 1,
        "volts overload (rest of row kept)": 1,
        "amps not a number (rest of row kept)": 1,
        "amps outside -3000 to 3000 A (rest of row kept)": 1,
    }
    assert [line.line for line in whole.ledger.first["volts overload (rest of row kept)"]] == [3]
    assert "volts=OL" in whole.ledger.first["volts overload (rest of row kept)"][0].text


def test_many_batches_make_one_stream(tmp_path: Path) -> None:
    count = 100_000
    times = pa.array(T0 + np.arange(count) * 100_000, pa.timestamp("us", "UTC"))
    whole = _read(pa.table({"time": times, "volts": np.full(count, 12.5)}), tmp_path)
    assert len(whole.t_us) == count


@pytest.mark.parametrize("write", [_parquet, _file])
def test_a_damaged_file_is_refused(tmp_path: Path, write: Any) -> None:
    path = tmp_path / "log.bin"
    write(_table(), path)
    path.write_bytes(path.read_bytes()[:-30])
    with pytest.raises(InputError, match="damaged"):
        open_logs([path], LogSettings())


def test_a_file_without_rows_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no rows"):
        _read(_table().slice(0, 0), tmp_path)


def test_a_file_without_volts_lists_its_columns(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the columns are: time, probe"):
        _read(_table().rename_columns(["time", "probe"]), tmp_path)


def test_volts_that_are_no_numbers(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no numbers"):
        _read(_table(volts=[[1.0]] * 3), tmp_path)
