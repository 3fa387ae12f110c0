"""What all tests share: hypothesis runs the same examples everywhere, and no test reads this computer's settings."""

import os

import pytest
from hypothesis import settings

os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")  # the battery model used as an oracle reports its use
settings.register_profile("house", deadline=None, derandomize=True, database=None, max_examples=60)
settings.load_profile(os.environ.get("KEYOFF_HYPOTHESIS", "house"))


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR", "CLICOLOR", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)


collect_ignore = ["bench/plain/pandas.py"]  # stands in the way of pandas on purpose
