"""The room's public door: a URL → a live logger, or the error that tells a person what hinders."""

from __future__ import annotations

import difflib
import importlib
import time
from collections.abc import Callable
from urllib.parse import SplitResult, parse_qsl, urlsplit

from monitor.base.errors import SettingError
from monitor.base.tables.source import SourceTable
from monitor.base.vehicle import Vehicle
from monitor.sources.live.arrival import LiveLogger
from monitor.sources.live.clock import ArrivalClock, since_boot
from monitor.sources.live.stream import Habits, Seams, StreamLogger
from monitor.sources.live.transport import Connect

EXAMPLES = {
    "serial": "serial:/dev/serial/by-id/NAME?baud=115200",
    "socket": "socket://192.0.2.7:4000",
    "rfc2217": "rfc2217://192.0.2.7:4001?baud=9600",
    "file": "file:/var/log/volts.csv",
    "stdin": "stdin:",
    "simulate": "simulate:scenario.toml?speed=60",
}
# Instruments and brokers: (url, vehicle, clock, since_us, guest) -> LiveLogger; loaded only where they are asked for.
INSTRUMENTS = {
    "modbus+tcp": "monitor.sources.live.modbus:open_modbus",
    "modbus+serial": "monitor.sources.live.modbus:open_modbus",
    "scpi+socket": "monitor.sources.live.scpi:open_scpi",
    "scpi+serial": "monitor.sources.live.scpi:open_scpi",
    "mqtt": "monitor.sources.live.broker:open_broker",
    "mqtts": "monitor.sources.live.broker:open_broker",
}
_BAUDS = (50, 4_000_000)  # what serial ports can be set to at all


def open_live(
    url: str,
    vehicle: Vehicle,
    *,
    since_us: int | None = None,
    guest: bool = False,
    wall: Callable[[], float] = time.time,
    since_boot: Callable[[], float] = since_boot,
    seams: Seams | None = None,
) -> LiveLogger:
    """The logger at `url`; nothing is opened before it is polled, so one that is absent is no error.

    `since_us` is the time of the last sample the journal holds: times that this computer gives are later. A `guest`
    only looks: a broker sends it copies and keeps nothing for it. Raises SettingError for a URL that cannot be used.
    """
    scheme, colon, _ = url.partition(":")
    scheme = scheme.lower()
    if not colon or (scheme not in EXAMPLES and scheme not in INSTRUMENTS):
        raise _unknown(url, scheme)
    clock = ArrivalClock(since_us, since_boot, wall)
    if scheme in INSTRUMENTS:
        module, _, function = INSTRUMENTS[scheme].partition(":")
        opener: Callable[..., LiveLogger] = getattr(importlib.import_module(module), function)
        return opener(url, vehicle, clock, since_us, guest)
    seams = Seams() if seams is None else seams
    name, connect, habits = _link(scheme, url, seams)
    silence_s = (vehicle.source or SourceTable(url=url)).silence_s
    return StreamLogger(name, connect, habits, vehicle.log, vehicle.battery.nominal_v, silence_s, clock, seams)


def _link(scheme: str, url: str, seams: Seams) -> tuple[str, Connect, Habits]:
    """Name, opener and habits of one of our own schemes."""
    try:
        parts = urlsplit(url)
        options = dict(parse_qsl(parts.query, strict_parsing=True)) if parts.query else {}
    except ValueError:
        raise _wrong(scheme, url) from None
    rest = seams.rest
    if scheme == "serial":
        from monitor.sources.live.serial_port import BY_ID, SerialPort

        path = str(BY_ID / _path(scheme, parts, url))  # an absolute path stays itself
        baud = _baud(scheme, url, options)
        return path, lambda: SerialPort(path, baud, rest), Habits(has_speed=True, starts_mid=True)
    if scheme == "socket":
        from monitor.sources.live.network import TcpPort

        host, port = _address(scheme, parts, url)
        _no_more(scheme, url, options)
        return f"{host}:{port}", lambda: TcpPort(host, port, rest), Habits(starts_mid=True, calls_again=True)
    if scheme == "rfc2217":
        from monitor.sources.live.network import RemotePort

        host, port = _address(scheme, parts, url)
        baud = _baud(scheme, url, options)
        habits = Habits(has_speed=True, starts_mid=True, calls_again=True)
        return f"{host}:{port}", lambda: RemotePort(host, port, baud, rest), habits
    if scheme == "file":
        from monitor.sources.live.growing import GrowingFile

        path = url.partition(":")[2]
        path = path.removeprefix("//") if path.startswith("///") else path
        if not path:
            raise _wrong(scheme, url)
        return path, GrowingFile(path, rest, seams.monotonic).connect, Habits()
    if scheme == "stdin":
        from monitor.sources.live.standard_input import StandardInput

        if url.partition(":")[2].strip("/-"):
            raise _wrong(scheme, url)
        return "standard input", StandardInput(rest=rest).connect, Habits()
    from monitor.sources.live.simulator import Simulator

    speed = options.pop("speed", "1")
    _no_more(scheme, url, options)
    scenario = _path(scheme, parts, url)
    return f"simulation {scenario}", Simulator(scenario, _speed(speed), rest).connect, Habits()


def _path(scheme: str, parts: SplitResult, url: str) -> str:
    if parts.netloc or not parts.path:
        raise _wrong(scheme, url)
    return parts.path


def _address(scheme: str, parts: SplitResult, url: str) -> tuple[str, int]:
    try:
        host, port = parts.hostname, parts.port
    except ValueError:
        host = port = None
    if not host or not port or parts.path.strip("/") or parts.username is not None:
        raise _wrong(scheme, url)
    return host, port


def _baud(scheme: str, url: str, options: dict[str, str]) -> int:
    from monitor.sources.live.serial_port import BAUD

    said = options.pop("baud", str(BAUD))
    _no_more(scheme, url, options)
    if not said.isdecimal() or not _BAUDS[0] <= int(said) <= _BAUDS[1]:
        raise SettingError(f"[source] url: baud={said} is no baud rate", f'write it as "{EXAMPLES[scheme]}"')
    return int(said)


def _speed(said: str) -> float:
    try:
        speed = float(said)
    except ValueError:
        speed = 0.0
    if not 0.001 <= speed <= 1e9:
        raise SettingError(f"[source] url: speed={said} is no speed", f'write it as "{EXAMPLES["simulate"]}"')
    return speed


def _no_more(scheme: str, url: str, options: dict[str, str]) -> None:
    if options:
        unknown = next(iter(options))
        raise SettingError(f'[source] url: unknown option "{unknown}"', f'write it as "{EXAMPLES[scheme]}"')


def _wrong(scheme: str, url: str) -> SettingError:
    shown = url if "@" not in url else f"{scheme}:…"  # what stands before an @ may be a password
    return SettingError(f'[source] url = "{shown}" cannot be understood', f'write it as "{EXAMPLES[scheme]}"')


def _unknown(url: str, scheme: str) -> SettingError:
    known = [*EXAMPLES, *INSTRUMENTS]
    if url.startswith("/") or ":" not in url:
        kind = "serial" if url.startswith("/dev/") else "file"
        return SettingError(f'[source] url = "{url}" does not say what it is', f'write "{kind}:{url}"')
    near = difflib.get_close_matches(scheme, known, 1, 0.5)
    hint = f'did you mean "{near[0]}:"? ' if near else ""
    return SettingError(f'[source] url: "{scheme}:" is not known', f"{hint}known are {', '.join(known)}")
