"""The [instrument.scpi] table: what an instrument is asked; only what reads, never what drives an output.

A log must not be able to hurt anybody: a supply or a load on the vehicle's battery that a settings file switches on can
burn cables, cook the battery or wake every module. So only subsystems that measure are allowed, by their root.
"""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from monitor.base.tables.channel import AreAmps, AreCelsius, AreVolts, Figure
from monitor.base.tables.strict import Strict

# SCPI-1999 vol. 2: the subsystems whose queries measure, and those that only set up a measurement.
ASKING = ("MEASure", "READ", "FETCh")
SETTING_UP = ("CONFigure", "SENSe", "SAMPle", "FORMat", "UNIT")
_NODE = re.compile(r"[A-Za-z][A-Za-z_]*")
_SAFETY = "a settings file may not command an output, a source, a load or a relay"


def is_keyword(text: str, keyword: str) -> bool:
    """Whether `text` is the short or the long form of a keyword, in any case (SCPI-1999 vol. 1, 6.2.1).

    The short form is what the keyword writes in capitals.

    >>> is_keyword("VolTaGe", "VOLTage"), is_keyword("volt", "VOLTage"), is_keyword("VOL", "VOLTage")
    (True, True, False)
    """
    short = "".join(c for c in keyword if not c.islower())
    return text.upper() in (short, keyword.upper())


def _plain(line: str) -> str:
    line = line.strip()
    if not line.isascii() or not line.isprintable() or ";" in line or len(line) > 200:
        raise PydanticCustomError("scpi", "expected one command of printable ASCII, without ;")
    return line


def _is_any(root: str, keywords: tuple[str, ...]) -> bool:
    return any(is_keyword(root, keyword) for keyword in keywords)


def _root(line: str) -> str:
    found = _NODE.match(line.removeprefix(":"))
    return found[0] if found else ""


def _query(line: str) -> str:
    line = _plain(line)
    if not line.split(" ", 1)[0].endswith("?"):
        raise PydanticCustomError("scpi", 'expected a query, which ends in "?", as "MEASure:VOLTage:DC?"')
    if not _is_any(_root(line), ASKING):
        raise PydanticCustomError(
            "scpi", "expected a query that measures, of {roots}: {why}", {"roots": ", ".join(ASKING), "why": _SAFETY}
        )
    return line


def _set_up(line: str) -> str:
    line = _plain(line)
    remote = re.fullmatch(r":?([A-Za-z]+):([A-Za-z]+)", line)
    if remote and is_keyword(remote[1], "SYSTem") and is_keyword(remote[2], "REMote"):
        return line
    if "?" in line or not _is_any(_root(line), SETTING_UP):
        raise PydanticCustomError(
            "scpi",
            "expected a command that sets up a measurement, of {roots} or SYSTem:REMote: {why}",
            {"roots": ", ".join(SETTING_UP), "why": _SAFETY},
        )
    return line


class Question(Figure):
    """One channel: the query that reads it; `scale` turns the reply into `unit` (a shunt's volts into amps)."""

    query: Annotated[str, AfterValidator(_query)]
    scale: float = Field(default=1.0, allow_inf_nan=False)


class Volts(Question):
    """The query for volts."""

    query: Annotated[str, AfterValidator(_query)] = "MEASure:VOLTage:DC?"


class Amps(Question):
    """The query for amps."""

    query: Annotated[str, AfterValidator(_query)] = "MEASure:CURRent:DC?"


class Celsius(Question):
    """The query for the temperature."""

    query: Annotated[str, AfterValidator(_query)] = "MEASure:TEMPerature?"


class ScpiTable(Strict):
    """What the instrument is asked.

    setup  lines sent after *CLS at each opening
    """

    volts: Annotated[Volts, AreVolts] = Volts()
    amps: Annotated[Amps, AreAmps] | None = None
    celsius: Annotated[Celsius, AreCelsius] | None = None
    setup: tuple[Annotated[str, AfterValidator(_set_up)], ...] = ()
