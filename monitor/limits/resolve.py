"""Rules files and a vehicle in, limits in base units out; the last of the files has the last word on each key."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any, NoReturn

from monitor.base.documents import key_line
from monitor.base.errors import SettingError
from monitor.base.vehicle import Battery, Vehicle
from monitor.limits.quantities import QUANTITIES, SHARE, Quantity, Side
from monitor.limits.rules import Limit, Rules
from monitor.limits.rules_file import RulesText, Setpoint
from monitor.limits.setpoints import Resolved, WrongValueError, resolve_deadband, resolve_setpoint

NEEDED = ("quantity", "priority", "cause", "response")
SIDES: tuple[Side, ...] = ("high", "low")
SHOWN = 60  # characters of a refused value

Told = tuple[Any, int]  # a value, and the place in the chain of the file that says it


def rules_for(vehicle: Vehicle, chain: Sequence[RulesText]) -> Rules:
    """The limits that `chain` gives for `vehicle`; raises SettingError with file and line.

    chain  at least one file, each extending the one before it
    """
    told: dict[str, dict[str, Told]] = {}
    for place, written in enumerate(chain):
        for name, table in written.file.limits.items():
            here = told.setdefault(name, {})
            for key in table.model_fields_set:
                if (value := getattr(table, key)) is not None:
                    here[key] = (value, place)
            here["file"] = (name, place)
    readers = [_Reader(name, told, chain, vehicle.battery) for name in told]
    limits = tuple(reader.limit() for reader in readers)
    _no_circle(readers)
    about = next((written.file.about for written in reversed(chain) if written.file.about), "")
    return Rules(chain[-1].name, about, limits, tuple(_remarks(vehicle.battery, chain)))


class _Reader:
    """Reads one limit from what the files say of it."""

    def __init__(
        self, name: str, told: dict[str, dict[str, Told]], chain: Sequence[RulesText], battery: Battery
    ) -> None:
        self.name, self.keys, self.told, self.chain, self.battery = name, told[name], told, chain, battery

    def limit(self) -> Limit:
        for key in NEEDED:
            if key not in self.keys:
                self.refuse((), f"expected its {key}", "nothing", list(self.told), "limits")
        quantity = QUANTITIES[self.value("quantity")]
        found = {side: self._setpoint(side, quantity) for side in SIDES if side in self.keys}
        if not found:
            self.refuse((), f"expected {' or '.join(quantity.sides)}", "neither")
        self._pair(found)
        deadband = self._deadband(quantity, found)
        self._times(quantity)
        rows = next((one.by_celsius for one in found.values() if one.by_celsius), ())
        return Limit(
            name=self.name,
            quantity=quantity.name,
            unit=quantity.unit,
            high=found["high"].value if "high" in found else None,
            low=found["low"].value if "low" in found else None,
            priority=self.value("priority"),
            cause=self.value("cause"),
            response=self.value("response"),
            source=self._source(),
            by_celsius=rows,
            deadband=deadband,
            on_delay_s=self.value("on_delay_s", 0.0),
            off_delay_s=self.value("off_delay_s", 0.0),
            after_s=self.value("after_s", 0.0),
            window_s=self.value("window_s"),
            latched=self.value("latched", False),
            enabled=self.value("enabled", True),
            yields_to=self.yields_to(),
            basis="; ".join(one.basis for one in found.values() if one.basis),
        )

    def value(self, key: str, absent: Any = None) -> Any:
        """What the last of the files says under `key`."""
        return self.keys[key][0] if key in self.keys else absent

    def _setpoint(self, side: Side, quantity: Quantity) -> Resolved:
        written: Setpoint = self.value(side)
        if side not in quantity.sides:
            self.refuse((side,), f"expected {quantity.sides[0]}: {quantity.name} has no {side} limit", written)
        try:
            return resolve_setpoint(written, quantity, self.battery)
        except WrongValueError as wrong:
            self.refuse((side, *wrong.key), f"{wrong.expected} ({quantity.name})", wrong.found)

    def _pair(self, found: dict[Side, Resolved]) -> None:
        high, low = (found[side] if side in found else Resolved(None) for side in SIDES)
        later = max(found, key=lambda side: self._depth(side))
        if len(found) == 2 and (high.by_celsius or low.by_celsius):
            self.refuse((later,), "expected one side only beside by_celsius; write two limits", "high and low")
        if high.value is not None and low.value is not None and low.value >= high.value:
            self.refuse((later,), "expected low below high", f"low {low.value:g}, high {high.value:g}")

    def _depth(self, key: str) -> int:
        """Place in the chain of the file that says `key`: of two that do not go together, the later made the fault."""
        return self.keys[key][1]

    def _deadband(self, quantity: Quantity, found: dict[Side, Resolved]) -> float:
        if "deadband" not in self.keys:
            return 0.0
        written = self.value("deadband")
        try:
            widths = [resolve_deadband(written, quantity, one) for one in found.values()]
        except WrongValueError as wrong:
            self.refuse(("deadband",), f"{wrong.expected} ({quantity.name})", wrong.found)
        width = min(widths)
        values = [one.value for one in found.values() if one.value is not None]
        if len(values) == 2 and width >= abs(values[0] - values[1]):
            self.refuse(("deadband",), "expected less than what lies between low and high", written)
        high, low = found.get("high"), found.get("low")
        if low is not None and low.value is not None and quantity.dimension is SHARE and low.value + width > 1:
            self.refuse(("deadband",), "expected no more than 100 % together with low, or it never returns", written)
        if high is not None and high.value is not None and quantity.low >= 0:
            least = min([high.value, *(value for _, value in high.by_celsius)])
            if width >= least:
                self.refuse(("deadband",), "expected less than the setpoint, or it never returns", written)
        return width

    def _times(self, quantity: Quantity) -> None:
        for key in ("on_delay", "off_delay"):
            if quantity.judged == "event" and self.value(f"{key}_s"):
                self.refuse((key,), f"expected no delay: {quantity.name} is an event", self.value(f"{key}_s"))
        if quantity.judged in ("second", "service") and self.value("after_s"):
            self.refuse(("after",), f"expected no after: {quantity.name} has no stand or drive", self.value("after_s"))
        if quantity.windowed and "window_s" not in self.keys:
            self.refuse(("quantity",), f'expected window beside it: {quantity.name} over how long, as "7 d"', "nothing")
        if not quantity.windowed and "window_s" in self.keys:
            self.refuse(("window",), f"expected no window: {quantity.name} has none", self.value("window_s"))

    def _source(self) -> str:
        """Of the setpoint; a file that sets another value than its source's is named before it."""
        setter = max((side for side in SIDES if side in self.keys), key=self._depth)
        name = self.chain[self._depth(setter)].name
        if "source" not in self.keys:
            return f"set in {name}"
        source = str(self.value("source"))
        return f"set in {name}; before that: {source}" if self._depth(setter) > self._depth("source") else source

    def yields_to(self) -> tuple[str, ...]:
        """Names of limits that are there and are not this one."""
        names: list[str] = self.value("yields_to", [])
        for index, name in enumerate(names):
            if name not in self.told:
                known = [other for other in self.told if other != self.name]
                self.refuse(("yields_to", index), "expected the name of a limit of these rules", name, known)
            if name == self.name:
                self.refuse(("yields_to", index), "expected another limit than itself", name)
        return tuple(dict.fromkeys(names))

    def refuse(
        self, key: tuple[str | int, ...], expected: str, found: Any, known: Sequence[str] = (), of: str = ""
    ) -> NoReturn:
        """Raise SettingError at `key` of this limit, in the file that says it; `of`: a table of that name is meant."""
        first = {"on_delay": "on_delay_s", "off_delay": "off_delay_s", "after": "after_s", "window": "window_s"}
        place = self.keys.get(first.get(str(key[0]), str(key[0])) if key else "file", self.keys["file"])[1]
        told_by = self.chain[place]
        whole = ("limits", self.name, *key)
        if whole[-1] == "value" and not _says(told_by.text, whole):
            whole = whole[:-1]
        near = next(
            iter(get_close_matches(str(found) if not of else self.name, [k for k in known if k != self.name])), ""
        )
        near = f"[{of}.{near}]" if near and of else f'"{near}"' if near else ""
        dotted = ".".join(map(str, whole))
        raise SettingError(
            f"{told_by.place}, line {key_line(told_by.text, whole)}, {dotted}: {expected}; found {_shown(found)}",
            f"did you mean {near}?" if near else f"correct {dotted} in {told_by.place}",
        )


def _says(text: str, key: tuple[str | int, ...]) -> bool:
    here: Any = tomllib.loads(text)
    for step in key:
        if not isinstance(here, dict) or step not in here:
            return False
        here = here[step]
    return True


def _shown(found: Any) -> str:
    if isinstance(found, dict | Setpoint):
        return "a table"
    text = f'"{found}"' if isinstance(found, str) and found not in ("nothing", "neither") else str(found)
    return text if len(text) <= SHOWN else text[: SHOWN - 1] + "…"


def _no_circle(readers: list[_Reader]) -> None:
    """Limits that yield to each other in a circle would all be silent."""
    yields = {reader.name: reader.yields_to() for reader in readers}
    for reader in readers:
        seen, to_see = set[str](), list(yields[reader.name])
        while to_see:
            other = to_see.pop()
            if other == reader.name:
                reader.refuse(("yields_to",), "expected no circle of limits that yield to each other", other)
            if other not in seen:
                seen.add(other)
                to_see += yields[other]


def _remarks(battery: Battery, chain: Sequence[RulesText]) -> list[str]:
    fits = next((written.file.fits for written in reversed(chain) if written.file.fits), None)
    if fits is None:
        return []
    found = []
    if fits.kind and "unknown" not in fits.kind and battery.kind is not None and battery.kind not in fits.kind:
        found.append(f"written for {' or '.join(fits.kind)} batteries; this one is {battery.kind}")
    if fits.nominal_v and battery.nominal_v not in fits.nominal_v:
        said = " or ".join(f"{volts:g} V" for volts in fits.nominal_v)
        found.append(f"written for batteries of {said}; this one is of {battery.nominal_v:g} V")
    return found
