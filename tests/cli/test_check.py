"""`keyoff check`: what it refuses, what it prints and how it ends; the check itself is tested below the command."""

import json
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


def test_an_absent_port_is_to_mend_and_nothing_is_stored(tmp_path: Path) -> None:
    file, data = tmp_path / "car.toml", tmp_path / "data"
    file.write_text(f'name = "car"\n[source]\nurl = "serial:{tmp_path}/usb-logger-port0"\n')
    ended = keyoff("check", str(file), "--json", "--no-questions", "--data", str(data))
    found = json.loads(ended.stdout)
    assert (ended.returncode, found["vehicle"], found["fit"]) == (1, "car", False)
    assert {one["name"]: one["judgement"] for one in found["findings"]} == {
        "logger": "mend", "clock": found["findings"][1]["judgement"], "disk": "ok", "notices": "unknown",
    }  # fmt: skip
    assert "Before you touch anything" in ended.stderr
    assert not data.exists()
