"""Rules files found and read: presets inside the package, a person's own files beside the vehicle file."""

from __future__ import annotations

import os
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path

from monitor.base.documents import document_text, key_line, read_document
from monitor.base.errors import SettingError
from monitor.base.vehicle import Battery, Vehicle
from monitor.limits.resolve import rules_for
from monitor.limits.rules import Rules
from monitor.limits.rules_file import Fits, RulesFile, RulesText

MOST_EXTENDED = 8  # files of one chain; our choice, to end a circle


def load_rules(vehicle: Vehicle, vehicle_file: Path | None = None, named: str | None = None) -> Rules:
    """The limits that hold for `vehicle`; raises SettingError naming file and line.

    named  a preset or a path relative to the working folder; None: what the vehicle file names, relative to it; else
           the preset that fits the battery
    """
    if named is not None:
        chain = read_chain(named, Path())
    elif vehicle.rules is not None and vehicle_file is not None:
        chain = read_chain(vehicle.rules, vehicle_file.parent, f"{vehicle_file}, vehicle.rules")
    else:
        chain = read_chain(vehicle.rules or fitting_preset(vehicle.battery), Path())
    return rules_for(vehicle, chain)


def read_chain(named: str, folder: Path, by: str = "rules") -> list[RulesText]:
    """The rules file `named` and those it extends, the innermost first; a path is relative to `folder`.

    by  who names it, for a message
    """
    chain = [_read(named, folder, by)]
    while (extends := chain[0].file.extends) is not None:
        if len(chain) == MOST_EXTENDED:
            raise SettingError(
                f"{chain[-1].place}: extends more than {MOST_EXTENDED - 1} files, or itself", "extend a preset directly"
            )
        line = key_line(chain[0].text, ("extends",))
        chain.insert(0, _read(extends, Path(chain[0].place).parent, f"{chain[0].place}, line {line}, extends"))
    return chain


def preset_names() -> list[str]:
    """Names of the presets, in the order of the alphabet."""
    return sorted(path.stem for path in preset_folder().glob("*.toml"))


def list_presets() -> list[tuple[str, str]]:
    """Each preset with the line about it."""
    return [(name, read_preset(name).file.about or "") for name in preset_names()]


def preset_folder() -> Path:
    """Where the presets are: inside the installed package, or in a checkout beside it."""
    package = Path(str(files("monitor")))
    return inside if (inside := package / "rules").is_dir() else package.parent / "rules"


@cache
def read_preset(name: str) -> RulesText:
    """A preset as read."""
    return _text(name, preset_folder() / f"{name}.toml")


def fitting_preset(battery: Battery) -> str:
    """The preset to use when no rules are named; one that names the kind of battery goes before one for any kind."""
    fitting = [
        (fits.kind is None, name)
        for name in preset_names()
        if (fits := read_preset(name).file.fits) and fits.picked and fits.battery(battery.kind, battery.nominal_v)
    ]
    if not fitting:
        raise SettingError(
            f"no preset is written for a {battery.kind or ''} battery of {battery.nominal_v:g} V",
            'name rules: [vehicle] rules = "PRESET", or a file that extends one',
        )
    return min(fitting)[1]


def typical_vehicle(chain: list[RulesText]) -> Vehicle:
    """A vehicle that the rules are written for, to read them by when none is given."""
    fits = next((written.file.fits for written in reversed(chain) if written.file.fits), Fits())
    kind = next((kind for kind in fits.kind or () if kind != "unknown"), None)
    nominal_v = 12.0 if not fits.nominal_v or 12.0 in fits.nominal_v else fits.nominal_v[0]
    return Vehicle(battery=Battery(kind=kind, nominal_v=nominal_v))


def is_path(named: str) -> bool:
    """Whether a file is meant and not a preset."""
    return named.endswith(".toml") or "/" in named or os.sep in named


def _read(named: str, folder: Path, by: str) -> RulesText:
    if is_path(named):
        return _text(named, folder / named)
    known = preset_names()
    if named not in known:
        near = next(iter(get_close_matches(named, known)), None)
        remedy = f'did you mean "{near}"? ' if near else ""
        raise SettingError(
            f'{by}: no preset "{named}"', f"{remedy}presets: {', '.join(known)}; a file of your own ends in .toml"
        )
    return read_preset(named)


def _text(name: str, path: Path) -> RulesText:
    text = document_text(path)
    return RulesText(name, str(path), text, read_document(text, path, RulesFile))
