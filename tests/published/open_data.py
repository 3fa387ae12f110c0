"""Where the open data lie that some checks read; they are not copied into this project."""

import os
from pathlib import Path

import pytest

FOLDER = Path(os.environ.get("KEYOFF_OPEN_DATA", Path(__file__).parents[3] / "shared" / "data"))


def open_data(folder: str, pattern: str, origin: str) -> Path:
    """The file of that pattern; without it the test is skipped, or fails where CI=true promises the data."""
    found = sorted((FOLDER / folder).glob(pattern))
    if found:
        return found[0]
    message = f"no {folder}/{pattern} under {FOLDER}: get it from {origin}, and set KEYOFF_OPEN_DATA to its folder"
    if os.environ.get("CI") == "true":
        pytest.fail(message)
    pytest.skip(message)
