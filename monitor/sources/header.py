"""Which column of a log is which channel, in which unit: from the words of its header, or as the vehicle file says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.base.errors import InputError
from monitor.base.vehicle import Column, LogSettings
from monitor.sources.rows import CHANNELS, Cells
from monitor.sources.units import BASE, SHOWN, Unit, said_unit, time_unit_of, unit_of

# The trade's usual words; common practice, several languages.
_WORDS = {
    "volts": {"v", "volt", "volts", "voltage", "u", "ubat", "ubatt", "vbat", "vbatt", "vbattery", "spannung", "mv"},
    "amps": {"a", "amp", "amps", "ampere", "amperes", "current", "i", "ibat", "ibatt", "strom", "ma"},
    "celsius": {"temp", "temperature", "temperatur", "celsius", "tbat", "tbatt"},
}
# A column with one of these is another quantity, or a summary of ours.
_OTHER = {
    "ah", "mah", "wh", "kwh", "w", "kw", "power", "energy", "charge", "capacity", "soc", "rpm", "speed", "limit", "set",
    "setpoint", "max", "min", "std", "ref", "reference", "target", "ripple", "status", "flag", "count", "ohm", "mohm",
}  # fmt: skip
_OTHER_TEMPERATURE = {
    "coolant", "intake", "oil", "ambient", "air", "cabin", "engine", "exhaust", "outside", "cpu", "board", "chip",
}  # fmt: skip
_BATTERY = {"bat", "batt", "battery", "ubat", "ubatt", "vbat", "vbatt", "vbattery", "ibat", "ibatt", "tbat", "tbatt"}
_TIME = {
    "datetime", "timestamp", "zeitstempel", "ts", "time", "zeit", "t", "utc", "epoch", "unixtime", "elapsed", "seconds",
    "secs", "sec", "millis", "uhrzeit", "date", "datum", "clock",
}  # fmt: skip
_DATE = {"date", "datum"}
_CLOCK = {"time", "zeit", "uhrzeit", "clock"}


@dataclass(frozen=True, slots=True)
class Source:
    """Where a channel comes from: index of the column, its unit, and the sign that turns it into battery convention."""

    column: int
    unit: Unit = BASE
    sign: float = 1.0

    def scaled(self, cells: Cells) -> Cells:
        """Figures as written → V, A (+ into the battery), °C."""
        scale, offset = self.unit.scale * self.sign, self.unit.offset * self.sign + 0.0
        if scale == 1.0 and offset == 0.0:
            return cells
        return Cells(cells.values * scale + offset, cells.flaws)


@dataclass(slots=True)
class Roles:
    """What the columns of a log are.

    time       indexes of the time column, or of the date and the time column; empty when there is none
    time_unit  s, ms, us, min, h, d where the header says so
    channels   source per channel found
    unclear    per channel, the columns that fit equally well
    unknown_units  per channel, its column and the unit that is not known
    """

    time: tuple[int, ...] = ()
    time_unit: str | None = None
    channels: dict[str, Source] = field(default_factory=dict)
    unclear: dict[str, list[str]] = field(default_factory=dict)
    unknown_units: dict[str, tuple[str, str]] = field(default_factory=dict)

    def check_units(self, where: str) -> None:
        """Raise InputError when the header gives a channel a unit that is none of its units."""
        for channel, (column, unit) in self.unknown_units.items():
            raise InputError(
                f'{where}: column "{column}": unit "{unit}" is not known for {channel}; expected {SHOWN[channel]}',
                f'say it in the vehicle file: [log] {channel} = {{ column = "{column}", unit = "{_first(channel)}" }}',
            )


@dataclass(frozen=True, slots=True)
class _Name:
    words: frozenset[str]
    unit: str | None  # text in brackets or last word

    @staticmethod
    def of(cell: str) -> _Name:
        text = cell.strip().strip('"').strip()
        found = re.search(r"[\[({<]\s*([^\])}>]*?)\s*[\])}>]", text)
        unit = found[1] if found else None
        rest = text[: found.start()] + " " + text[found.end() :] if found else text
        spaced = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", rest)  # battVoltage
        words = re.findall(r"[a-zµ°º\ufffd]+", spaced.lower())
        if unit is None and words:
            unit = words[-1]
        return _Name(frozenset(words), unit)


def recognise(cells: Sequence[str], settings: LogSettings) -> Roles:
    """What each column is.

    >>> roles = recognise(["t_s", "Voltage [V]", "current_mA"], LogSettings())
    >>> roles.time, roles.channels["amps"]
    ((0,), Source(column=2, unit=Unit(scale=0.001, offset=0.0), sign=1.0))
    """
    names = [_Name.of(cell) for cell in cells]
    roles = Roles()
    taken: set[int] = set()
    wanted = {channel: getattr(settings, channel) for channel in CHANNELS}
    for channel, said in wanted.items():
        if said.column is not None and (index := _index(said.column, cells)) is not None:
            roles.channels[channel] = _source(channel, index, cells[index], names[index], said, roles)
            taken.add(index)
    if settings.time.column is not None:
        index = _index(settings.time.column, cells)
        roles.time = () if index is None else (index,)
    else:
        roles.time = _time(names, taken)
    taken.update(roles.time)
    if len(roles.time) == 1:
        name = names[roles.time[0]]
        words = [
            name.unit or "",
            *(w for w in sorted(name.words) if w in {"millis", "micros", "seconds", "secs", "sec"}),
        ]
        roles.time_unit = next(filter(None, map(time_unit_of, words)), None)
    for channel, said in wanted.items():
        if said.column is None:
            _find(channel, cells, names, said, taken, roles)
    return roles


def _index(column: str | int, cells: Sequence[str]) -> int | None:
    if isinstance(column, int):
        return column - 1 if 1 <= column <= len(cells) else None
    plain = [cell.strip().strip('"').strip() for cell in cells]
    if column in plain:
        return plain.index(column)
    lower = [cell.lower() for cell in plain]
    return lower.index(column.lower()) if lower.count(column.lower()) == 1 else None


def _time(names: Sequence[_Name], taken: set[int]) -> tuple[int, ...]:
    free = [i for i in range(len(names)) if i not in taken and names[i].words & _TIME]
    free = [i for i in free if not names[i].words & {"current", "voltage", "volts", "amps", "temp", "temperature"}]
    both = [i for i in free if names[i].words & {"datetime", "timestamp", "zeitstempel"}]
    both += [i for i in free if names[i].words & _DATE and names[i].words & _CLOCK]
    if both:
        return (both[0],)
    dates = [i for i in free if names[i].words & _DATE]
    clocks = [i for i in free if names[i].words & _CLOCK]
    if dates and clocks:
        return (dates[0], clocks[0])
    best = clocks or dates or free
    return (best[0],) if best else ()


def _find(
    channel: str, cells: Sequence[str], names: Sequence[_Name], said: Column, taken: set[int], roles: Roles
) -> None:
    fits = [i for i in range(len(cells)) if i not in taken and _fits(channel, names[i])]
    for narrower in (_BATTERY, _WORDS[channel] - {"v", "a", "mv", "ma"}):
        if len(fits) > 1:
            fits = [i for i in fits if names[i].words & narrower] or fits
    if len(fits) == 1:
        index = fits[0]
        roles.channels[channel] = _source(channel, index, cells[index], names[index], said, roles)
        taken.add(index)
    elif fits:
        roles.unclear[channel] = [cells[i].strip() for i in fits]


def fitting(channel: str, names: Sequence[str], said: str | int | None) -> list[str]:
    """Of names that all bear the channel's unit, the one said, or those whose words fit best.

    >>> fitting("volts", ["dev:solar", "dev:battery"], None)
    ['dev:battery']
    """
    if isinstance(said, str):
        return [name for name in names if name == said]
    fits = list(names)
    for narrower in (_BATTERY, _WORDS[channel]):
        if len(fits) > 1:
            fits = [name for name in fits if _Name.of(name).words & narrower] or fits
    return fits


def _fits(channel: str, name: _Name) -> bool:
    if name.words & _OTHER:
        return False
    unit = name.unit or ""
    other_unit = any(unit_of(c, unit) for c in CHANNELS) and unit_of(channel, unit) is None
    if channel == "celsius":
        degrees = unit_of("celsius", unit) is not None and unit.lower() not in {"c", "f", "k"}
        if name.words & _OTHER_TEMPERATURE:
            return False
        return not other_unit and (bool(name.words & _WORDS["celsius"]) or degrees)
    return not other_unit and bool(name.words & _WORDS[channel])


def _source(channel: str, index: int, cell: str, name: _Name, said: Column, roles: Roles) -> Source:
    sign = -1.0 if channel == "amps" and said.positive == "discharge" else 1.0
    if said.unit is not None:
        return Source(index, said_unit(channel, said.unit), sign)
    unit = unit_of(channel, name.unit) if name.unit else None
    # A short text in brackets stands for a unit; a longer one is a remark, as in "voltage (at the posts)".
    if unit is None and name.unit and name.unit not in name.words and len(name.unit) <= 3:
        roles.unknown_units[channel] = (cell.strip(), name.unit)
    return Source(index, unit or BASE, sign)


def _first(channel: str) -> str:
    return SHOWN[channel].split(" ")[0].rstrip(",")
