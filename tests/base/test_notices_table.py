"""The [notices] table as a person writes it: what it means, and how each mistake is refused."""

from pathlib import Path

import pytest

from monitor.base.documents import load_document
from monitor.base.errors import SettingError
from monitor.base.tables.notices import Delays, Destination, NoticesTable
from monitor.base.vehicle import Vehicle

WRITTEN = """\
[notices]
morning = "06:45"
weekly = "Sun 19:30"
quiet = { from = "22:00", to = "07:00", except = ["critical", "high"] }

[[notices.destinations]]
name = "phone"
to = "env:PHONE"
priorities = ["critical", "high"]
summaries = false

[[notices.destinations]]
to = "file:/etc/keyoff/mail"

[notices.delays]
silent = "20 min"
disk_full = "0 s"
"""


def load(folder: Path, text: str) -> NoticesTable:
    path = folder / "car.toml"
    path.write_text(text, encoding="utf-8")
    return load_document(path, Vehicle).notices


def test_every_setting_becomes_a_plain_number_or_name(tmp_path: Path) -> None:
    table = load(tmp_path, WRITTEN)
    assert table.destinations == (
        Destination(to="env:PHONE", name="phone", priorities=("critical", "high"), summaries=False),
        Destination(to="file:/etc/keyoff/mail"),
    )
    assert [one.called for one in table.destinations] == ["phone", "file:/etc/keyoff/mail"]
    assert (table.morning_min, table.weekly_min) == (6 * 60 + 45, 6 * 24 * 60 + 19 * 60 + 30)
    assert table.quiet is not None
    assert (table.quiet.from_min, table.quiet.to_min, table.quiet.excepted) == (1320, 420, ("critical", "high"))
    assert table.delays == Delays(silent=1200.0, disk_full=0.0)


def test_without_a_table_nobody_is_told_and_nothing_is_quiet() -> None:
    table = Vehicle().notices
    assert (table.destinations, table.quiet, table.morning_min, table.weekly_min) == ((), None, 450, 480)


def test_summaries_can_be_left_out(tmp_path: Path) -> None:
    table = load(tmp_path, "[notices]\nmorning = false\nweekly = false\n")
    assert (table.morning_min, table.weekly_min) == (None, None)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('morning = "7:30"', 'expected a time of day, as "07:30", or false for none; found "7:30"'),
        ('morning = "24:00"', 'expected a time of day, as "07:30", or false'),
        ("morning = 450", 'expected a time of day, as "07:30", or false for none; found 450'),
        ("morning = true", "found true"),
        ('weekly = "Fry 08:00"', 'expected a day and a time, as "Mon 08:00", or false for none; found "Fry 08:00"'),
        ('quiet = { from = "22:00", to = "22:00" }', "notices.quiet.to: expected an end other than the beginning"),
        ('quiet = { from = "22:00", to = 420 }', 'expected a time of day, as "22:00"; found 420'),
        ('quiet = { from = "22:00" }', "notices.quiet.to"),
        ('quiet = { from = "22:00", to = "07:00", excpt = [] }', 'unknown key "notices.quiet.excpt"'),
        ('command = "halt"', 'unknown key "notices.command"'),
        ('delays = { silent = "-1 s" }', "expected zero or more"),
        ("delays = { silent = 60 }", "expected a duration with its unit"),
        ("destinations = [{}]", "notices.destinations.0.to"),
        ('destinations = [{ to = "mailto://a:b@c" }]', "expected where the secret is kept"),
        ('destinations = [{ to = "env:A" }, { to = "env:A" }]', '"env:A" comes twice'),
        ('destinations = [{ to = "env:A", priorities = ["hihg"] }]', 'found "hihg"'),
    ],
)
def test_what_cannot_be_is_refused_with_what_was_expected(tmp_path: Path, text: str, expected: str) -> None:
    with pytest.raises(SettingError) as caught:
        load(tmp_path, f"[notices]\n{text}\n")
    assert expected in caught.value.what
    assert "car.toml, line 2" in caught.value.what


def test_a_near_miss_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingError) as caught:
        load(tmp_path, '[notices]\nmornign = "07:30"\n')
    assert 'did you mean "morning"?' in caught.value.remedy


def test_too_many_destinations_are_refused(tmp_path: Path) -> None:
    many = "".join(f'[[notices.destinations]]\nto = "env:A{n}"\n' for n in range(21))
    with pytest.raises(SettingError, match="expected no more than 20 destinations"):
        load(tmp_path, many)


def test_the_schema_has_the_keys_as_they_are_written() -> None:
    defs = Vehicle.model_json_schema()["$defs"]
    assert set(defs["Quiet"]["properties"]) == {"from", "to", "except"}
    assert {"morning", "weekly", "quiet", "destinations", "delays"} == set(defs["NoticesTable"]["properties"])
