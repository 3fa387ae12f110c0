"""`keyoff check`: what it refuses; the check itself takes its two minutes and is tested below the command."""

from pathlib import Path

from tests.cli.run import keyoff


def test_a_vehicle_file_without_a_logger_is_refused_with_what_to_write(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text('name = "car"\n')
    ended = keyoff("check", str(file))
    assert (ended.returncode, ended.stdout) == (2, "")
    assert "nothing says where its logger is" in ended.stderr
    assert "Try: add [source] url" in ended.stderr


def test_an_instrument_without_its_table_is_refused_with_what_to_write(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text('[source]\nurl = "scpi+socket://127.0.0.1:5025"\n')
    ended = keyoff("check", str(file))
    assert ended.returncode == 2
    assert "[instrument.scpi]" in ended.stderr
