"""Which addresses are taken, held against the library that is installed; and that its records go no further."""

import ast
import logging
from importlib.util import find_spec
from pathlib import Path

import pytest

from monitor.service.destinations import LOCAL, _Caught, _outcome

# modules by which a sender reaches into this computer: programs, the desktop, the system's log, USB devices
INWARD = {"subprocess", "ctypes", "gi", "dbus", "win32api", "win32con", "win32gui", "hid", "syslog", "multiprocessing"}


def imported(source: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.partition(".")[0])
    return names


def test_every_sender_of_the_library_that_reaches_into_this_computer_is_barred() -> None:
    found = find_spec("apprise.plugins")
    assert found is not None
    assert found.origin is not None
    sources = sorted(Path(found.origin).parent.rglob("*.py"))
    assert len(sources) > 100
    inward = {path.stem for path in sources if imported(path) & INWARD}
    assert {"syslog", "macosx"} <= inward  # the search finds something
    assert {name for name in inward if name not in LOCAL} == set()


def test_what_a_library_says_while_sending_goes_no_further(caplog: pytest.LogCaptureFixture) -> None:
    # its level too: who asks a database server for the first time sets it
    with caplog.at_level(logging.DEBUG), caplog.at_level(logging.DEBUG, "urllib3.connectionpool"):
        with _Caught() as caught:
            logging.getLogger("apprise").warning("to json://token-secret")
            logging.getLogger("urllib3.connectionpool").debug('"POST /token-secret HTTP/1.1" 200')
        logging.getLogger("apprise").warning("afterwards: token-secret")
        logging.getLogger("urllib3.connectionpool").warning("another's own line")
    assert caught.said == ["to json://token-secret", '"POST /token-secret HTTP/1.1" 200']
    assert caplog.messages == ["another's own line"]


@pytest.mark.parametrize(
    ("said", "fate", "why"),
    [
        (
            ["Socket Exception: (535, b'5.7.8 bad credentials of token-secret')"],
            "barred",
            "the mail server answered 535",
        ),
        (["Socket Exception: (451, b'try later')"], "failed", "the mail server answered 451"),
        (
            ["Socket Exception: Connection unexpectedly closed"],
            "unsure",
            "the destination took it and did not confirm it",
        ),
        (["Sent JSON POST notification.", "Failed: error=500."], "unsure", "only a part of it was taken"),
        (["Failed: error=400.", "Response Details: 'error=200'"], "refused", "the destination answered 400"),
        (["Failed to resolve 'token-secret'"], "failed", "its name is not known: no network?"),
        (["connect timeout=10.0"], "failed", "the destination cannot be reached"),
        ([], "failed", "the destination cannot be reached"),
    ],
)
def test_the_reason_is_told_in_our_own_words(said: list[str], fate: str, why: str) -> None:
    outcome = _outcome(said)
    assert (outcome.fate, outcome.why) == (fate, why)
