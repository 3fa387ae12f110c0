"""Promises about the files themselves: length, layout, words, and a reason beside every exemption."""

import re
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
ROOMS = ("monitor", "rules", "deploy", "tests", "replay_logs")
PAGES = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml")
LONGEST = 400  # lines; a longer file is two ideas
SOURCES = sorted([*HOUSE.glob("monitor/**/*.py"), *HOUSE.glob("tests/**/*.py")])
TEXTS = [
    path
    for folder in ROOMS
    for path in sorted((HOUSE / folder).rglob("*"))
    if path.suffix in {"", ".py", ".md", ".toml", ".txt"} and path.is_file() and "__pycache__" not in path.parts
] + [HOUSE / page for page in PAGES]

# words that point at where the work was done instead of at the work; spelt in pieces so as not to find themselves
ELSEWHERE = re.compile(
    "|".join(
        [
            "/wo" + "rk/",
            "tran" + "script",
            "seed docu" + "ment",
            r"\bissue #?\d",
            r"py" + r"pi\.org",
            "pythonhos" + "ted",
        ]
    ),
    re.IGNORECASE,
)
EXEMPTION = re.compile(r"#\s*(type:\s*ignore|noqa)\b(\[[\w, -]+\]|:\s*[A-Z0-9, ]+)?(?P<rest>.*)$", re.MULTILINE)


def name_of(path: Path) -> str:
    return str(path.relative_to(HOUSE))


def test_the_sources_are_found() -> None:
    assert HOUSE / "monitor" / "base" / "samples.py" in SOURCES
    assert Path(__file__) in SOURCES


def test_no_file_is_longer_than_one_idea() -> None:
    lengths = {name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in SOURCES}
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST} == {}


def test_nothing_else_stands_at_top_level() -> None:
    built = {"build", "dist"}
    names = {path.name for path in HOUSE.iterdir() if not path.name.startswith(".") and path.name != "__pycache__"}
    assert names - built <= {*ROOMS, *PAGES}
    assert {*PAGES} <= names


@pytest.mark.parametrize("path", TEXTS, ids=name_of)
def test_the_text_speaks_of_the_work_and_not_of_the_workplace(path: Path) -> None:
    found = ELSEWHERE.search(path.read_text(encoding="utf-8", errors="replace"))
    assert found is None, found


def exemptions(text: str) -> list[tuple[str, bool]]:
    """Each exemption from type check or style, and whether its reason stands beside it."""
    return [(found[0], bool(re.search(r"\w{3}", found["rest"]))) for found in EXEMPTION.finditer(text)]


def test_an_exemption_without_a_reason_is_found() -> None:
    bare = "x = 1  # type" + ": ignore[misc]\ny = 2  # no" + "qa: E501\n"
    assert [reason for _, reason in exemptions(bare)] == [False, False]
    assert [reason for _, reason in exemptions(bare.replace("]", "]  # the stub lacks it"))] == [True, False]


def test_every_exemption_has_its_reason_beside_it() -> None:
    bare = [
        f"{name_of(path)}: {text}"
        for path in SOURCES
        for text, reason in exemptions(path.read_text(encoding="utf-8"))
        if not reason and path != Path(__file__)
    ]
    assert bare == []
