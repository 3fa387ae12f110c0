"""Recording what a logger sends, so that whatever goes wrong on site becomes a log to replay.

A wrapper around any live logger. Each file begins with the line that names the columns and holds whole lines only; half
lines, noise and titles stand in it as remarks. Lines without a time of their own carry the one they were given, so
`keyoff replay` of the folder, with the same vehicle file, gives the rows that the logger gave.

A disk that is full or gone never stops the logger: the loss is counted, told in `trouble`, and tried again.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from io import FileIO
from itertools import count
from pathlib import Path

from monitor.sources.live.arrival import Arrival, LiveLogger

FILE_BYTES = 32 << 20  # our choice: two days at 10 Hz; opens in any editor
TOTAL_BYTES = 1 << 30  # our choice: two months at 10 Hz
AGAIN_S = 30.0  # our choice: between two attempts to write after a failure
_ENDING = ".log"


class Recorded:
    """`logger`, recorded into `folder`: a file a day and FILE_BYTES, the oldest deleted beyond `total_bytes`.

    trouble   why nothing is recorded now, with the bytes that are lost; "": all is recorded
    """

    def __init__(
        self,
        logger: LiveLogger,
        folder: Path,
        *,
        file_bytes: int = FILE_BYTES,
        total_bytes: int = TOTAL_BYTES,
        wall: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = logger.name
        self.trouble = ""
        self._logger = logger
        self._folder = folder
        self._file_bytes = file_bytes
        self._total_bytes = total_bytes
        self._wall = wall
        self._monotonic = monotonic
        self._file: FileIO | None = None
        self._head = b""
        self._day = ""
        self._size = 0
        self._lost = 0
        self._again_at = 0.0

    def poll(self, timeout_s: float) -> Arrival:
        """The logger's, recorded."""
        arrival = self._logger.poll(timeout_s)
        if arrival.raw and not arrival.again:  # a file that was there before is its own recording
            self._record(arrival)
        return arrival

    def close(self) -> None:
        """Close the logger and the file."""
        self._logger.close()
        self._end()

    def _record(self, arrival: Arrival) -> None:
        if self._file is None and self._lost and self._monotonic() < self._again_at:
            self._lose(arrival.raw)
            return
        try:
            self._write(arrival)
        except OSError as error:
            self._end()
            self._again_at = self._monotonic() + AGAIN_S
            self._lose(arrival.raw)
            self.trouble = f"{self._folder}: cannot be written ({error.strerror}); {self._lost} bytes are not recorded"
        else:
            self._lost, self.trouble = 0, ""

    def _lose(self, data: bytes) -> None:
        self._lost += len(data)

    def _write(self, arrival: Arrival) -> None:
        now = datetime.fromtimestamp(self._wall(), UTC)
        day = f"{now:%Y%m%d}"
        head = arrival.head
        if self._file is None or self._size >= self._file_bytes or day != self._day or head != self._head:
            self._begin(now, head)
            self._day, self._head = day, head
        place = self._size
        try:
            self._put(arrival.raw)
        except OSError:
            self._take_back(place)  # half a line would read as a line
            raise

    def _begin(self, now: datetime, head: bytes) -> None:
        self._end()
        self._folder.mkdir(parents=True, exist_ok=True)
        self._make_room()
        self._file = _new_file(self._folder, f"{now:%Y%m%dT%H%M%S}Z")
        self._size = 0
        self._put(head)

    def _put(self, data: bytes) -> None:
        view = memoryview(data)
        while view and self._file is not None:
            written = self._file.write(view)
            self._size += written
            view = view[written:]

    def _take_back(self, place: int) -> None:
        with suppress(OSError):
            if self._file is not None:
                self._file.truncate(place)

    def _make_room(self) -> None:
        """Delete the oldest files beyond the bound, with room for the one to come."""
        files = sorted(self._folder.glob(f"*{_ENDING}"))
        sizes = [file.stat().st_size for file in files]
        excess = sum(sizes) + self._file_bytes - self._total_bytes
        for file, size in zip(files, sizes, strict=True):
            if excess <= 0:
                break
            file.unlink()
            excess -= size

    def _end(self) -> None:
        if self._file is not None:
            with suppress(OSError):
                self._file.close()
        self._file = None


def _new_file(folder: Path, stem: str) -> FileIO:
    for number in count():
        with suppress(FileExistsError):
            return FileIO(folder / f"{stem}-{number:03d}{_ENDING}", "xb")
    raise AssertionError
