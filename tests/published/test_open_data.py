"""Without the open data: a skip that says where to get them, or a failure where CI=true promises them."""

from pathlib import Path

import pytest

from tests.published import open_data as module


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "FOLDER", tmp_path)


def test_missing_data_are_a_skip_that_says_where_to_get_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match=r"get it from somewhere, and set KEYOFF_OPEN_DATA"):
        module.open_data("cars", "*.csv", "somewhere")


def test_missing_data_fail_where_ci_is_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match=r"no cars/\*\.csv under"):
        module.open_data("cars", "*.csv", "somewhere")


def test_data_that_are_there_are_found(tmp_path: Path) -> None:
    (tmp_path / "cars").mkdir()
    log = tmp_path / "cars" / "a.csv"
    log.touch()
    assert module.open_data("cars", "*.csv", "somewhere") == log
