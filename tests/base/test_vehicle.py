"""The vehicle file as a person writes it: what it means, and how each mistake is refused."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.base.documents import load_document
from monitor.base.errors import SettingError
from monitor.base.vehicle import Battery, Column, LogSettings, TimeColumn, Vehicle

WRITTEN = """\
name = "estate car, blue"

[battery]
kind = "flooded"
nominal = "12 V"
capacity = "70 Ah"
cold_cranking = "640 A"
standard = "EN"
reserve = "110 min"

[log]
volts = "U_batt"
amps = { column = "I", unit = "mA", positive = "discharge" }
celsius = { column = 4, unit = "°F" }
time = { column = "t", zone = "Europe/Oslo" }
gap = "30 s"
zero_offset = "2 mA"

[vehicle]
rules = "start-stop-agm"
"""


def load(folder: Path, text: str | bytes) -> Vehicle:
    path = folder / "car.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return load_document(path, Vehicle)


def refused(folder: Path, text: str | bytes) -> SettingError:
    with pytest.raises(SettingError) as caught:
        load(folder, text)
    return caught.value


def test_every_setting_becomes_a_plain_number_or_name(tmp_path: Path) -> None:
    car = load(tmp_path, WRITTEN)
    assert car.name == "estate car, blue"
    assert car.battery == Battery(
        kind="flooded",
        nominal_v=12.0,
        capacity_ah=70.0,
        cold_cranking_a=640.0,
        cranking_standard="EN",
        reserve_s=6600.0,
    )
    assert car.log == LogSettings(
        volts=Column(column="U_batt"),
        amps=Column(column="I", unit="mA", positive="discharge"),
        celsius=Column(column=4, unit="°F"),
        time=TimeColumn(column="t", zone="Europe/Oslo"),
        gap_s=30.0,
        zero_offset_a=0.002,
    )
    assert car.rules == "start-stop-agm"


def test_an_empty_file_says_nothing_and_is_accepted(tmp_path: Path) -> None:
    assert load(tmp_path, "") == Vehicle()


def test_a_byte_order_mark_and_windows_line_ends_are_accepted(tmp_path: Path) -> None:
    assert load(tmp_path, b'\xef\xbb\xbfname = "van"\r\n[battery]\r\nnominal = "24 V"\r\n').battery.nominal_v == 24.0


def test_a_column_may_be_named_by_its_number_alone(tmp_path: Path) -> None:
    assert load(tmp_path, "[log]\nvolts = 2\n").log.volts == Column(column=2)


MISTAKES = {
    "a bare number": ('"12 V"', "12", 5, "battery.nominal: expected a voltage with its unit", "found 12"),
    "a wrong unit": ('"70 Ah"', '"70 A"', 6, "battery.capacity: expected a capacity with its unit", '"70 A"'),
    "an unknown nominal voltage": ('"12 V"', '"13 V"', 5, '"6 V", "12 V" or "24 V"', '"13 V"'),
    "a capacity of nothing": ('"70 Ah"', '"0 Ah"', 6, "expected more than zero", '"0 Ah"'),
    "not a number": ('"70 Ah"', "nan", 6, "expected a capacity", "nan"),
    "a misspelt key": ("capacity", "capcity", 6, 'unknown key "battery.capcity"', "capcity"),
    "a misspelt table": ("[log]", "[logg]", 11, 'unknown key "logg"', "logg"),
    "a misspelt kind": ('"flooded"', '"floded"', 4, "battery.kind: expected one of", '"floded"'),
    "an unknown zone": ("Oslo", "Osl", 15, "log.time.zone: expected a time zone", '"Europe/Osl"'),
    "a folder of zones": ("Europe/Oslo", "Europe", 15, "log.time.zone: expected a time zone", '"Europe"'),
    "a path as zone": ("Europe/Oslo", "../../etc/passwd", 15, "log.time.zone: expected a time zone", "passwd"),
    "volts in amps": ('unit = "mA"', 'unit = "mV"', 13, "log.amps.unit: expected the unit of a current", '"mV"'),
    "an unknown temperature unit": ("°F", "°R", 14, "log.celsius.unit: expected the unit of a temperature", "°R"),
    "an unknown direction": ('"discharge"', '"out"', 13, "log.amps.positive: expected one of", '"out"'),
    "a direction of volts": ('"U_batt"', '{ positive = "charge" }', 12, "log.volts.positive", "belongs to amps"),
    "column zero": ('"U_batt"', "0", 12, "counted from 1", "found 0"),
    "a truth value as column": ('"U_batt"', "true", 12, "log.volts: expected a column's name", "true"),
    "a list as column": ('"U_batt"', "[1]", 12, "log.volts: expected a column's name", "a list"),
    "a standard without its number": ('cold_cranking = "640 A"\n', "", 7, "expected cold_cranking beside", '"EN"'),
    "a negative offset": ('"2 mA"', '"-2 mA"', 17, "log.zero_offset: expected zero or more", '"-2 mA"'),
    "a gap of nothing": ('"30 s"', '"0 s"', 16, "log.gap: expected more than zero", '"0 s"'),
    "an empty name": ('"estate car, blue"', '""', 1, "name: expected some text", '""'),
    "an escape sequence as name": ('"estate car, blue"', r'"\u001b[31m"', 1, "without control characters", "?[31m"),
    "a table where text belongs": ('name = "estate car, blue"', "name.x = 1", 1, "expected text in quotes", "a table"),
    "a table where a name belongs": ("[vehicle]\nrules =", "[vehicle.rules]\nz =", 19, "expected text", "a table"),
    "an open quote": ('"640 A"', '"640 A', 7, "not TOML", "640 A"),
    "a table twice": ("[vehicle]", "[battery]", 19, "not TOML: Cannot declare [battery] twice", "[battery]"),
}


@pytest.mark.parametrize(("old", "new", "line", "expected", "found"), MISTAKES.values(), ids=MISTAKES.keys())
def test_a_mistake_is_refused_with_file_line_key_and_expectation(
    tmp_path: Path, old: str, new: str, line: int, expected: str, found: str
) -> None:
    assert old in WRITTEN
    error = refused(tmp_path, WRITTEN.replace(old, new, 1))
    assert error.what.startswith(f"{tmp_path / 'car.toml'}, line {line}"), error.what
    assert expected in error.what
    assert found in error.what
    assert error.remedy


@pytest.mark.parametrize(
    ("old", "new", "near"),
    [
        ("capacity", "capcity", '"capacity"'),
        ("[log]", "[logg]", '"log"'),
        ('"flooded"', '"FLODED"', '"flooded"'),
        ("Europe/Oslo", "europe/oslo", '"Europe/Oslo"'),
        ("unit", "units", '"unit"'),
    ],
)
def test_the_nearest_known_name_is_offered(tmp_path: Path, old: str, new: str, near: str) -> None:
    assert f"did you mean {near}?" in refused(tmp_path, WRITTEN.replace(old, new, 1)).remedy


def test_the_first_mistake_in_the_file_is_told_and_the_others_counted(tmp_path: Path) -> None:
    error = refused(tmp_path, WRITTEN.replace('"12 V"', "12").replace("Oslo", "Osl").replace("rules", "rule"))
    assert "line 5, battery.nominal" in error.what
    assert "2 more to mend" in error.what


def test_the_line_of_a_table_over_several_lines_is_its_first(tmp_path: Path) -> None:
    error = refused(tmp_path, '[log]\n\n# four lines\namps.column = """I\n"""\nvolts = [\n  1,\n  2,\n]\n')
    assert "line 6, log.volts" in error.what


def test_a_missing_file_offers_the_one_beside_it(tmp_path: Path) -> None:
    load(tmp_path, "")
    with pytest.raises(SettingError, match="no such file") as caught:
        load_document(tmp_path / "cra.toml", Vehicle)
    assert str(tmp_path / "car.toml") in caught.value.remedy


def test_a_folder_is_not_a_settings_file(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="cannot be read"):
        load_document(tmp_path, Vehicle)


def test_text_in_another_encoding_is_refused_with_its_line(tmp_path: Path) -> None:
    error = refused(tmp_path, 'name = "car"\n# Größe\n'.encode("latin-1"))
    assert "line 2: not UTF-8" in error.what


def test_a_log_named_by_mistake_is_refused_unread(tmp_path: Path) -> None:
    assert "too large" in refused(tmp_path, b"a = 1\n" * 20_000).what


@given(st.binary(max_size=200))
def test_any_bytes_are_a_vehicle_or_a_setting_error(tmp_path_factory: pytest.TempPathFactory, raw: bytes) -> None:
    try:
        load(tmp_path_factory.getbasetemp(), raw)
    except SettingError as error:
        assert "\n" not in error.what + error.remedy


PIECES = st.sampled_from(
    [
        *WRITTEN.splitlines(),
        "[",
        "]",
        "{",
        '"""',
        "'''",
        "x = 1",
        "= 2",
        "[[log]]",
        "log = 3",
        "1 = [[[[",
        "volts.unit = 3",
    ]
)


@given(st.lists(PIECES, max_size=12))
def test_any_shuffle_of_lines_is_a_vehicle_or_a_setting_error_with_a_line_of_the_file(
    tmp_path_factory: pytest.TempPathFactory, lines: list[str]
) -> None:
    try:
        load(tmp_path_factory.getbasetemp(), "\n".join(lines))
    except SettingError as error:
        line = int(error.what.partition(", line ")[2].split(":")[0].split(",")[0])
        assert 1 <= line <= max(1, len(lines))


@pytest.mark.parametrize("deep", ["a = " + "[" * 20_000, "a = " + "1" * 5_000, "a." * 3_000 + "b = 1"])
def test_absurd_nesting_and_numbers_are_refused_without_a_traceback(tmp_path: Path, deep: str) -> None:
    assert refused(tmp_path, deep).what


def test_the_schema_for_editors_names_the_keys_as_written() -> None:
    battery = Vehicle.model_json_schema()["$defs"]["Battery"]["properties"]
    assert set(battery) == {"kind", "nominal", "capacity", "cold_cranking", "standard", "reserve"}
    assert battery["nominal"]["type"] == "string"
    assert battery["nominal"]["default"] == "12 V"
