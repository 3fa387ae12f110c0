"""Writes a log into a directory of its own and reads it whole, or gives the error a person would see."""

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.base.errors import InputError
from monitor.base.ledger import Ledger
from monitor.base.samples import Block, Floats, Ints
from monitor.base.vehicle import LogSettings
from monitor.sources import RecordedLog, open_logs

Content = str | bytes


@dataclass
class Whole:
    """All that a log gave."""

    log: RecordedLog
    t_us: Ints
    volts: Floats
    amps: Floats | None
    celsius: Floats | None

    @property
    def ledger(self) -> Ledger:
        return self.log.ledger

    @property
    def seconds(self) -> list[float]:
        return [t / 1e6 for t in self.t_us.tolist()]


def _joined(blocks: list[Block], name: str) -> Floats | None:
    arrays = [getattr(block, name) for block in blocks]
    return None if not arrays or arrays[0] is None else np.concatenate(arrays)


def read_all(log: RecordedLog) -> Whole:
    blocks = list(log.blocks())
    t_us = np.concatenate([block.t_us for block in blocks])
    assert (np.diff(t_us) > 0).all(), "time must increase strictly across the whole stream"
    volts = _joined(blocks, "volts")
    assert volts is not None
    return Whole(log, t_us, volts, _joined(blocks, "amps"), _joined(blocks, "celsius"))


Read = Callable[..., Whole]
Refused = Callable[..., InputError]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def run(
        *contents: Content, names: tuple[str, ...] = (), log: dict[str, Any] | None = None, **options: Any
    ) -> Whole:
        paths = []
        for i, content in enumerate(contents):
            path = tmp_path / (names[i] if names else f"log{i}.csv")
            path.write_bytes(content.encode() if isinstance(content, str) else content)
            paths.append(path)
        return read_all(open_logs(paths, LogSettings.model_validate(log or {}), **options))

    return run


@pytest.fixture
def refused(read: Read) -> Refused:
    def run(*contents: Content, **options: Any) -> InputError:
        with pytest.raises(InputError) as caught:
            read(*contents, **options)
        assert caught.value.remedy
        return caught.value

    return run


@pytest.fixture
def open_data() -> Path:
    """The directory of recorded open data sets."""
    place = Path(os.environ.get("KEYOFF_OPEN_DATA") or Path(__file__).parents[3] / "shared" / "data")
    if not (place / "leadacid17ah_telemetry").is_dir():
        message = f"{place}: no open data; set KEYOFF_OPEN_DATA to a copy of the sets named in test_open_data.py"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return place
