"""SenML (RFC 8428) in JSON → rows: packs, streams of records, and one record or pack a line.

Records are read one at a time, so a pack that was cut off keeps the records before the cut. The records of a pack are
put in order of time, as a resolved pack is (§4.6); a stream of single records stays in its own order.
"""

from __future__ import annotations

import base64
import binascii
import math
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from monitor.base.errors import InputError
from monitor.base.ledger import RefusedLine
from monitor.base.vehicle import LogSettings
from monitor.sources.files import LogFile, open_stream
from monitor.sources.header import fitting
from monitor.sources.lines import CUT_OFF
from monitor.sources.records import Item, items
from monitor.sources.rows import ABSENT, CHANNELS, GOOD, Cells, Fault, Rows
from monitor.sources.times import LATEST_US, RELATIVE_BELOW_S
from monitor.sources.units import Unit

VERSION = 10  # §4.4: the version of RFC 8428
NOT_A_RECORD = "not a SenML record"
_BATCH = 8192  # records a stretch of rows holds; our choice
# §12.1; mV and mA are secondary units of RFC 8798 §2.
UNITS = {
    "V": ("volts", Unit()), "mV": ("volts", Unit(1e-3)), "A": ("amps", Unit()), "mA": ("amps", Unit(1e-3)),
    "Cel": ("celsius", Unit()),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Record:
    """A resolved record: full name, unit, time in s (relative to now below 2^28), and its value if it has one."""

    name: str
    unit: str | None
    time_s: float
    value: float | str | bool | bytes | None

    @property
    def is_relative(self) -> bool:
        """Whether the time counts from now (§4.5.3)."""
        return self.time_s < RELATIVE_BELOW_S


class Resolver:
    """Applies base fields, which hold until replaced, to the records of one pack (§4.6).

    >>> resolver = Resolver()
    >>> resolver.resolve({"bn": "bat:", "bt": 1.7e9, "bu": "A", "n": "i", "v": -0.03})
    Record(name='bat:i', unit='A', time_s=1700000000.0, value=-0.03)
    >>> resolver.resolve({"n": "u", "u": "V", "t": 1, "v": 12.5})
    Record(name='bat:u', unit='V', time_s=1700000001.0, value=12.5)

    base   base fields in force
    """

    def __init__(self) -> None:
        self.base: dict[str, Any] = {}

    def reset(self) -> None:
        """Another pack begins."""
        self.base = {}

    def resolve(self, record: dict[str, Any]) -> Record:
        """The resolved record; ValueError, in words, when it breaks the rules."""
        for label in record:
            if label.endswith("_"):
                raise UnusableError(f'label "{label}" must be understood, and is not (RFC 8428 §4.4)')
        version = record.get("bver", self.base.get("bver", VERSION))
        if not _is_number(version) or version > VERSION:
            raise UnusableError(f"SenML version {version}; understood up to {VERSION} (RFC 8428 §4.4)")
        for label, kind in (("bn", str), ("bu", str), ("n", str), ("u", str)):
            if not isinstance(record.get(label, ""), kind):
                raise ValueError(f"{label} is no text")
        for label in ("bt", "bv", "bs", "t", "v", "s"):
            if not _is_number(record.get(label, 0)):
                raise ValueError(f"{label} is no number")
        self.base.update((label, record[label]) for label in ("bn", "bt", "bu", "bv", "bs", "bver") if label in record)
        given = [label for label in ("v", "vs", "vb", "vd") if label in record]
        if len(given) > 1:
            raise ValueError(f"more than one value: {', '.join(given)}")
        value = record[given[0]] if given else None
        if given == ["v"]:
            value = float(value + self.base.get("bv", 0))
        elif given == ["vd"]:
            value = _data(value)
        time_s = float(self.base.get("bt", 0) + record.get("t", 0))
        name = self.base.get("bn", "") + record.get("n", "")
        return Record(name, record.get("u", self.base.get("bu")), time_s, value)


class UnusableError(ValueError):
    """The whole pack must not be used."""


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _data(text: object) -> bytes:
    """§4.3: base64 with the URL-safe alphabet, padding left out."""
    if not isinstance(text, str):
        raise ValueError("vd is no text")
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        raise ValueError("vd is not base64") from None


class SenmlLog:
    """A SenML log; raises InputError when a pack must not be used, or holds no volts, amps or temperature."""

    def __init__(self, log: LogFile, settings: LogSettings) -> None:
        self.name = log.name
        self._log = log
        units: dict[str, str] = {}
        relative: bool | None = None
        for part in self._parts():
            for record in part.records:
                if record.unit in UNITS and isinstance(record.value, float):
                    units.setdefault(record.name, record.unit)
                    relative = record.is_relative if relative is None else relative
        self.columns = tuple(units)
        self.unclear: dict[str, list[str]] = {}
        self._names: dict[str, str] = {}  # channel → name
        for channel in CHANNELS:
            fits = [name for name, unit in units.items() if UNITS[unit][0] == channel]
            fits = fitting(channel, fits, getattr(settings, channel).column)
            if len(fits) == 1:
                self._names[channel] = fits[0]
            elif fits:
                self.unclear[channel] = fits
        if not self._names and not self.unclear:
            raise InputError(
                f"{self.name}: no SenML record in V, mV, A, mA or Cel", "give a log that has volts (unit V or mV)"
            )
        self._sign = -1.0 if settings.amps.positive == "discharge" else 1.0
        self.channels = tuple(self._names)
        self.relative = bool(relative)
        self.assumes_utc = False

    def rows(self, progress: Callable[[int], None] | None = None) -> Generator[Rows, None, None]:
        """All records that bear a reading, one a row; records of one time are joined later."""
        for part in self._parts(progress):
            yield self._rows(part)

    def _parts(self, progress: Callable[[int], None] | None = None) -> Iterator[_Part]:
        """Packs, and stretches of single records."""
        stream = open_stream(self._log)
        try:
            resolver, part, depth = Resolver(), _Part(), 0
            for item in items(stream):
                if item.what == "begin":
                    yield part
                    resolver, part, depth = Resolver(), _Part(), depth + 1
                elif item.what == "end":
                    part.sort()
                    yield part
                    resolver, part, depth = Resolver(), _Part(), max(0, depth - 1)
                else:
                    self._add(part, item, resolver)
                    if not depth and len(part.lines) >= _BATCH:
                        yield part
                        part = _Part()
                if progress is not None:
                    progress(stream.position())
            if depth:
                part.sort()
            yield part
        finally:
            stream.close()

    def _add(self, part: _Part, item: Item, resolver: Resolver) -> None:
        place = RefusedLine(self.name, item.line, item.text)
        if item.value is None:
            part.faults.append(Fault(CUT_OFF if item.what == "cut" else NOT_A_RECORD, 1, (place,)))
            return
        try:
            record = resolver.resolve(item.value)
        except UnusableError as error:
            raise InputError(f"{self.name}, line {item.line}: {error}", "export the log as SenML of RFC 8428") from None
        except ValueError:
            part.faults.append(Fault(NOT_A_RECORD, 1, (place,)))
            return
        part.records.append(record)
        part.lines.append(place)

    def _rows(self, part: _Part) -> Rows:
        faults = list(part.faults)
        kept: list[int] = []
        for index, record in enumerate(part.records):
            us = record.time_s * 1e6
            if record.is_relative == self.relative and abs(us) < LATEST_US:
                kept.append(index)
            else:
                faults.append(Fault("time not understood", 1, (part.lines[index],)))
        records = [part.records[i] for i in kept]
        t_us = np.array([round(r.time_s * 1e6) for r in records], np.int64)
        channels = {channel: self._cells(channel, records) for channel in self._names}
        return Rows(t_us, channels, lambda row: part.lines[kept[row]], tuple(faults))

    def _cells(self, channel: str, records: list[Record]) -> Cells:
        name = self._names[channel]
        values = np.zeros(len(records))
        flaws = np.full(len(records), ABSENT, np.uint8)
        for index, record in enumerate(records):
            known = UNITS.get(record.unit or "")
            if record.name == name and known is not None and known[0] == channel and isinstance(record.value, float):
                values[index] = record.value * known[1].scale * (self._sign if channel == "amps" else 1.0)
                flaws[index] = GOOD
        return Cells(values, flaws)


class _Part:
    """Records that belong together, where each stands, and what was no record."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self.lines: list[RefusedLine] = []
        self.faults: list[Fault] = []

    def sort(self) -> None:
        """Into order of time; equal times keep their order."""
        order = sorted(range(len(self.records)), key=lambda i: self.records[i].time_s)
        self.records = [self.records[i] for i in order]
        self.lines = [self.lines[i] for i in order]
