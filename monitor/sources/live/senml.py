"""SenML (RFC 8428) line by line → rows: a record or a pack a line, or a pack without end, as a stream is.

Times below 2^28 s count from now (§4.5.3), which is when the line came. A record that is broken over several lines is
refused. A recording holds resolved records (§4.6), each of which stands on its own.
"""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from monitor.base.errors import InputError
from monitor.base.ledger import RefusedLine
from monitor.base.vehicle import LogSettings
from monitor.sources.header import fitting
from monitor.sources.layout import several
from monitor.sources.live.lines import CAME_BEFORE, Line, refused
from monitor.sources.records import items
from monitor.sources.rows import ABSENT, CHANNELS, GOOD, Cells, Fault, Rows
from monitor.sources.senml import NOT_A_RECORD, UNITS, Record, Resolver
from monitor.sources.times import LATEST_US


def is_senml(lines: Sequence[Line]) -> bool:
    """Whether most of the lines are JSON."""
    written = [line.data.lstrip(b" \t,")[:1] for line in lines if line.data.strip()]
    return 2 * sum(start in (b"{", b"[", b"]") for start in written) > len(written)


class _Text(io.BytesIO):
    def position(self) -> int:
        return self.tell()


class SenmlLines:
    """Reads SenML lines; raises InputError when the first ones hold no volts, or several."""

    assumption = ""
    head = b""

    def __init__(self, name: str, settings: LogSettings, lines: Sequence[Line]) -> None:
        self.stamped = False
        self._name = name
        self._settings = settings
        self._sign = -1.0 if settings.amps.positive == "discharge" else 1.0
        self._resolver = Resolver()
        self._units: dict[str, str] = {}
        self._names: dict[str, str] = {}  # channel → name
        looked = Resolver()
        for line in lines:
            for record in [r for r, _ in _records(looked, line) if isinstance(r, Record)]:
                self._learn(record)
        for channel in CHANNELS:
            fits = self._fitting(channel)
            if len(fits) > 1 and channel != "celsius":
                raise several(name, channel, fits)
        if "volts" not in self._names:
            raise InputError(f"{name}: no SenML record in V or mV", "let the logger send volts (unit V or mV)")

    def read(self, lines: list[Line], first: int) -> tuple[list[Rows], bytes]:
        """Rows of these lines, the first of which is line `first`, and the lines as a recording keeps them."""
        parts: list[Rows] = []
        raw: list[bytes] = []
        for number, line in enumerate(lines, first):
            if line.flaw is not None:
                parts.append(refused(self._name, line.flaw, [line], number))
                raw.append(_remark(line.at_us, line.data.decode("utf-8", errors="backslashreplace")))
            else:
                rows, data = self._line(line, number)
                parts.append(rows)
                raw.append(data)
        return parts, b"".join(raw)

    def _line(self, line: Line, number: int) -> tuple[Rows, bytes]:
        faults: list[Fault] = []
        kept: list[tuple[int, Record, RefusedLine]] = []
        for found, text in _records(self._resolver, line):
            place = RefusedLine(self._name, number, text)
            if isinstance(found, str):
                faults.append(Fault(found, 1, (place,)))
                continue
            self._learn(found)
            us = found.time_s * 1e6 + (line.at_us if found.is_relative else 0)
            self.stamped |= found.is_relative
            if found.is_relative and line.kind == "old":
                faults.append(Fault(CAME_BEFORE, 1, (place,)))
            elif 0 <= us < LATEST_US:
                kept.append((round(us), found, place))
            else:
                faults.append(Fault("time not understood", 1, (place,)))
        kept.sort(key=lambda one: one[0])
        t_us = np.array([t for t, _, _ in kept], np.int64)
        channels = {channel: self._cells(channel, [record for _, record, _ in kept]) for channel in self._names}
        raw = b"".join(_resolved(t, record) for t, record, _ in kept)
        raw += b"".join(_remark(line.at_us, bad.first[0].text) for bad in faults)
        return Rows(t_us, channels, lambda row: kept[row][2], tuple(faults), 1), raw

    def _cells(self, channel: str, records: list[Record]) -> Cells:
        values = np.zeros(len(records))
        flaws = np.full(len(records), ABSENT, np.uint8)
        for index, record in enumerate(records):
            of, unit = UNITS.get(record.unit or "", ("", None))
            if record.name == self._names[channel] and of == channel and unit and isinstance(record.value, float):
                values[index] = record.value * unit.scale * (self._sign if channel == "amps" else 1.0)
                flaws[index] = GOOD
        return Cells(values, flaws)

    def _learn(self, record: Record) -> None:
        """A name not seen before may be that of a channel not seen before."""
        if record.name in self._units or record.unit not in UNITS or not isinstance(record.value, float):
            return
        self._units[record.name] = record.unit
        channel = UNITS[record.unit][0]
        fits = self._fitting(channel)
        if fits and (channel not in self._names or len(fits) == 1):
            self._names[channel] = fits[0]

    def _fitting(self, channel: str) -> list[str]:
        names = [name for name, unit in self._units.items() if UNITS[unit][0] == channel]
        return fitting(channel, names, getattr(self._settings, channel).column)


def _records(resolver: Resolver, line: Line) -> list[tuple[Record | str, str]]:
    """Records of the line, or why there is none, and their text; base fields hold on in `resolver`."""
    found: list[tuple[Record | str, str]] = []
    if line.flaw is not None:
        return found
    for item in items(_Text(line.data)):
        if item.what in ("begin", "end"):
            resolver.reset()
        elif item.value is None:
            found.append((NOT_A_RECORD, item.text))
        else:
            found.append((_one(resolver, item.value), item.text))
    return found


def _one(resolver: Resolver, value: dict[str, Any]) -> Record | str:
    try:
        return resolver.resolve(value)
    except ValueError as error:
        return str(error) if type(error) is not ValueError else NOT_A_RECORD


def _resolved(t_us: int, record: Record) -> bytes:
    """§4.6: the record with all of it written out, at an absolute time."""
    shown: dict[str, Any] = {"n": record.name, "t": t_us / 1e6}
    if record.unit is not None:
        shown["u"] = record.unit
    if isinstance(record.value, bool):
        shown["vb"] = record.value
    elif isinstance(record.value, float):
        shown["v"] = record.value
    elif isinstance(record.value, str):
        shown["vs"] = record.value
    return json.dumps(shown).encode() + b"\n"


def _remark(at_us: int, text: str) -> bytes:
    """What is no record, as a record that bears no reading."""
    return json.dumps({"n": "remark", "t": at_us / 1e6, "vs": text}).encode() + b"\n"
