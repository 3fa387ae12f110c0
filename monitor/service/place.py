"""Where the service keeps its data: one folder, and in it one folder a vehicle."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from monitor.base.errors import SettingError
from monitor.store.home import Home, slug

FOLDER = "keyoff"
SYSTEM = Path("/var/lib/keyoff")  # StateDirectory= of deploy/keyoff.service


def data_folder(named: Path | None, environment: Mapping[str, str]) -> Path:
    """The folder of all data: the one named, else systemd's, else the user's own.

    >>> data_folder(None, {"STATE_DIRECTORY": "/var/lib/keyoff:/var/lib/other"}).as_posix()
    '/var/lib/keyoff'
    >>> data_folder(None, {"XDG_STATE_HOME": "/home/a/.state"}).as_posix()
    '/home/a/.state/keyoff'
    """
    if named is not None:
        return named
    systemd = environment.get("STATE_DIRECTORY", "").split(":")[0]
    if systemd:
        return Path(systemd)
    own = environment.get("XDG_STATE_HOME", "")
    if own and Path(own).is_absolute():  # the base directory specification: a relative one is to be ignored
        return Path(own) / FOLDER
    return Path(environment.get("HOME", "") or "~").expanduser() / ".local" / "state" / FOLDER


def folder_to_ask(named: Path | None, environment: Mapping[str, str], system: Path = SYSTEM) -> Path:
    """Where a command finds the running service's data: as `data_folder`, else the system service's folder."""
    own = data_folder(named, environment)
    return system if named is None and not _found(own) and _found(system) else own


def homes(folder: Path, names: Iterable[str]) -> list[Home]:
    """A home for each vehicle; SettingError when two names come out as one folder."""
    taken: dict[str, str] = {}
    for name in names:
        if slug(name) in taken:
            raise SettingError(
                f'"{taken[slug(name)]}" and "{name}" would share the folder {slug(name)}',
                "give one of the vehicle files another name",
            )
        taken[slug(name)] = name
    return [Home(folder / one) for one in taken]


def existing(folder: Path, name: str | None) -> list[Home]:
    """The homes that are there, or the one of vehicle `name`; SettingError when there is none."""
    if name is not None:
        home = Home(folder / slug(name))
        if not home.folder.is_dir():
            known = ", ".join(one.folder.name for one in _found(folder)) or "none"
            raise SettingError(f'no vehicle "{name}" in {folder}', f"known there: {known}; another folder: --data DIR")
        return [home]
    found = _found(folder)
    if not found:
        raise SettingError(
            f"no vehicle's data in {folder}", "start keyoff watch, or name the folder that it uses: --data DIR"
        )
    return found


def runs(home: Home) -> bool:
    """Whether a service holds this vehicle's data: asked of the lock, which dies with its holder."""
    try:
        file = os.open(home.lock, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return False
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        return False
    except OSError:
        return True
    finally:
        os.close(file)


def _found(folder: Path) -> list[Home]:
    try:
        inside = sorted(folder.iterdir())
    except OSError:
        return []
    return [home for home in map(Home, inside) if home.journal.exists() or home.health.exists()]
