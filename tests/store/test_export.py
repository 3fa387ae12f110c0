"""What is exported, and what the journal itself holds, replays to the findings of the log that was recorded."""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from monitor.base.errors import InputError, SettingError, StoreError
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.results import Mark, Result
from monitor.base.samples import Block
from monitor.base.vehicle import LogSettings, Vehicle
from monitor.cli.app import app
from monitor.detect import Facts, replay
from monitor.sources import open_logs
from monitor.store import upkeep
from monitor.store.entries import Entry
from monitor.store.export import ENDINGS, export
from monitor.store.home import Home, data_at
from monitor.store.journal import Journal
from monitor.store.span import open_span
from monitor.store.trim import THINNED
from tests.store.making import DAY_US, FIRST_DAY, ROOMY, SHORT, filled, here, home_in

LOG = Path(__file__).parents[2] / "replay_logs" / "one-event.csv.gz"
BLOCK_SAMPLES = 300  # ten minutes of that log: fewer commits than a service makes, to be quick


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A demo log as a service would have kept it: its closed days archived, the last in the journal."""
    home = home_in(tmp_path_factory.mktemp("exported"))
    log = open_logs([LOG], LogSettings())
    journal = Journal(home)
    for block in log.blocks():
        for start in range(0, len(block), BLOCK_SAMPLES):
            journal.commit(Entry(block=block[start : start + BLOCK_SAMPLES], checkpoint={}))
    journal.commit(Entry(ledger=log.ledger, checkpoint={}))
    assert "archived" in upkeep.roll_over(home, ROOMY, here(journal))
    journal.close()
    return home


def findings(blocks: Iterator[Block], ledger: Ledger) -> Result:
    return replay(blocks, ledger, Facts.of(Vehicle()), "car")


@pytest.fixture(scope="module")
def recorded() -> str:
    log = open_logs([LOG], LogSettings())
    return findings(log.blocks(), log.ledger).model_dump_json()


def test_a_replay_of_the_journal_is_that_of_the_log(home: Home, recorded: str) -> None:
    for path in (home.folder, home.journal):
        with open_span(path) as span:
            assert findings(span.blocks(), span.ledger).model_dump_json() == recorded


@pytest.mark.parametrize("ending", [ending for ending in ENDINGS if ending != ".senml"])
def test_a_replay_of_an_export_is_that_of_the_log(home: Home, recorded: str, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"week{ending}"
    with open_span(home.folder) as span:
        told = export(span, path)
        assert told.samples == span.ledger.samples
    log = open_logs([path], LogSettings())
    assert findings(log.blocks(), log.ledger).model_dump_json() == recorded
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_a_replay_of_exported_senml_is_that_of_the_same_span(home: Home, tmp_path: Path) -> None:
    with open_span(home.folder) as span:
        first = int(next(span.blocks()).t_us[0])
    end = first + 2 * 3_600_000_000
    with open_span(home.folder, first, end) as span:
        expected = findings(span.blocks(), span.ledger).model_dump_json()
    with open_span(home.folder, first, end) as span:
        export(span, tmp_path / "x.senml")
    log = open_logs([tmp_path / "x.senml"], LogSettings())
    assert findings(log.blocks(), log.ledger).model_dump_json() == expected


@pytest.mark.parametrize("ending", ENDINGS)
def test_every_bit_survives_an_export(tmp_path: Path, ending: str) -> None:
    home = home_in(tmp_path)
    filled(home, seconds=20).close()
    with open_span(home.folder) as span:
        (before,) = span.blocks()
    with open_span(home.folder) as span:
        export(span, tmp_path / f"x{ending}")
    parts = list(open_logs([tmp_path / f"x{ending}"], LogSettings()).blocks())
    assert np.concatenate([p.t_us for p in parts]).tolist() == before.t_us.tolist()
    for name in ("volts", "amps"):
        after = np.concatenate([getattr(p, name) for p in parts])
        assert np.array_equal(after, getattr(before, name), equal_nan=True)


def test_a_span_is_half_open(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    journal = filled(home)
    upkeep.roll_over(home, ROOMY, here(journal))
    midnight = (FIRST_DAY + 1) * DAY_US
    for start, end, count in (
        (midnight - 1_000_000, midnight + 1_000_000, 20),
        (midnight, midnight + 100_000, 1),
        (None, midnight, 1000),
        (midnight, None, 1000),
        (midnight - DAY_US, midnight - 50_000_000, 500),
    ):
        with open_span(home.folder, start, end) as span:
            times = np.concatenate([b.t_us for b in span.blocks()])
            assert len(times) == count == span.ledger.samples
            assert start is None or times[0] >= start
            assert end is None or times[-1] < end


def test_what_was_thinned_is_in_the_books_of_a_replay(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    journal = filled(home)
    upkeep.relieve(home, SHORT, here(journal))
    with open_span(home.folder) as span:
        left = sum(len(b) for b in span.blocks())
        assert span.ledger.samples == left
        assert span.ledger.refused == {THINNED: 2000 - left}


def test_marks_set_while_it_ran_come_with_the_span(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    journal = filled(home, seconds=20)
    mark = Mark(at=FIRST_DAY * DAY_US, kind="fuse_out", text="23")
    journal.commit(Entry(orders=[Order(id="m", at=mark.at, kind="mark", mark=mark)]))
    with open_span(home.folder) as span:
        assert span.marks() == [mark]


def test_a_data_folder_is_known_from_other_paths(home: Home, tmp_path: Path) -> None:
    assert data_at(home.folder) == data_at(home.journal) == home
    assert data_at(LOG) is None
    assert data_at(tmp_path / "nothing") is None
    assert data_at(home.folder.parent) == home
    (tmp_path / "van").mkdir()
    (tmp_path / "van" / "journal.db").write_bytes(home.journal.read_bytes())
    (tmp_path / "night.csv").write_text("time,volts\n")
    assert data_at(tmp_path) is None  # logs, beside a vehicle's data


def test_what_cannot_be_exported_is_said_and_leaves_no_file(home: Home, tmp_path: Path) -> None:
    with open_span(home.folder, 0, 1) as span, pytest.raises(InputError, match="no sample in the asked time"):
        export(span, tmp_path / "x.csv")
    with open_span(home.folder) as span, pytest.raises(SettingError, match="not a log's ending"):
        export(span, tmp_path / "x.xyz")
    with open_span(home.folder) as span, pytest.raises(StoreError, match="No such file"):
        export(span, tmp_path / "none" / "x.csv")
    with pytest.raises(StoreError, match="no journal there"):
        open_span(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_the_command_says_what_it_wrote(home: Home, tmp_path: Path) -> None:
    path = tmp_path / "week.parquet"
    said = CliRunner().invoke(app, ["export", str(home.folder), "-o", str(path)])
    assert said.exit_code == 0
    first, second = said.stdout.splitlines()
    assert first.startswith(f"{path}: 51,840 samples from 2025-")
    assert second.startswith("Times are UTC, amps are + into the battery")


def test_senml_is_what_the_standard_says(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    journal = Journal(home)
    journal.commit(Entry(block=Block(np.array([1_700_000_000_500_000]), np.array([12.5]), np.array([-0.02]))))
    with open_span(home.folder) as span:
        export(span, tmp_path / "x.senml")
    assert json.loads((tmp_path / "x.senml").read_text()) == [
        {"n": "volts", "u": "V", "t": 1700000000.5, "v": 12.5},
        {"n": "amps", "u": "A", "t": 1700000000.5, "v": -0.02},
    ]
