"""`keyoff replay --marks`: marks come into the result document with their effect, and a bench test into the verdict."""

import json
from pathlib import Path

from monitor.base.results import Result
from tests.cli.inside import Run, inside

__all__ = ["inside"]

DEMO = Path(__file__).parents[2] / "replay_logs" / "repair-half-way.csv.gz"
MARKS = """at,kind,text
2025-04-10T21:00+02:00,fuse out,F23
2025-04-11T12:13:12+02:00,repair,lamp relay
2025-04-14T17:00+02:00,bench test,555 A of 800 A EN
"""


def test_marks_come_into_the_document_and_the_bench_test_into_the_verdict(inside: Run, tmp_path: Path) -> None:
    (tmp_path / "marks.csv").write_text(MARKS)
    done = inside("replay", DEMO, "--marks", tmp_path / "marks.csv", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    result = Result.model_validate(json.loads(done.stdout))
    assert [mark.kind for mark in result.marks] == ["fuse out", "repair", "bench test"]
    pulled, repaired, _ = [mark.effect for mark in result.marks]
    assert pulled is not None
    assert repaired is not None
    assert abs(pulled.change_a or 0) < 0.002
    assert abs((repaired.change_a or 0) + 0.420) < 0.001  # the drain of the scenario, and its noise of 0.4 mA
    assert repaired.groups_ended == [1]
    assert result.verdict is not None
    assert any("555 A" in text for text in [*result.verdict.because, *result.verdict.against])


def test_the_text_ends_with_the_marks(inside: Run, tmp_path: Path) -> None:
    (tmp_path / "marks.csv").write_text(MARKS)
    asked = ["--from", "2025-04-11T08:00", "--to", "2025-04-11T14:00"]
    done = inside("replay", DEMO, *asked, "--marks", tmp_path / "marks.csv")
    after = " ".join(done.stdout.split("\nMarks\n")[1].split())
    assert "repair (lamp relay): 441 mA before, 21 mA after" in after
    assert "too little current logged around it" in after  # the fuse was pulled before the asked time


def test_wrong_marks_are_told_before_the_log_is_read(inside: Run, tmp_path: Path) -> None:
    (tmp_path / "marks.csv").write_text("at,kind,text\n2025-04-10,repare,x\n")
    done = inside("replay", "no-such.csv", "--marks", tmp_path / "marks.csv")
    assert done.returncode == 2
    assert 'unknown kind "repare"' in done.stderr
