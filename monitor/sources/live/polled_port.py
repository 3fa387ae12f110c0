"""Serial ports and sockets of instruments that are asked: addresses read from URLs, and what went wrong in words."""

from __future__ import annotations

import errno
import socket
import termios
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NoReturn
from urllib.parse import parse_qsl, urlsplit

from monitor.base.errors import SettingError
from monitor.sources.live.arrival import LinkState
from monitor.sources.live.polled import Trouble

# What the libraries raise for a port that is gone: their own errors (an OSError), bare OSError, termios.error, and the
# others where another thread closed the port under a read (measured).
PORT_ERRORS = (OSError, termios.error, TypeError, ValueError, AttributeError)


@dataclass(frozen=True, slots=True)
class Address:
    """Where an instrument is.

    url   as messages show it; without what could be a secret
    host, port   of a socket
    path, baud   of a serial line
    """

    url: str
    host: str = ""
    port: int = 0
    path: str = ""
    baud: int = 0


def socket_address(url: str, port: int | None = None) -> Address:
    """The address in SCHEME://HOST:PORT; `port` where the URL may leave it out. Raises SettingError."""
    try:
        parts = urlsplit(url)
        found = parts.port if parts.port is not None else port
    except ValueError:
        parts, found = urlsplit(""), None
    if not parts.hostname or found is None or parts.username or parts.password or parts.query or parts.path.strip("/"):
        scheme = url.partition(":")[0]
        raise SettingError(f"[source] url: not an address of an instrument: expected {scheme}://HOST:PORT", _WRITE)
    shown = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
    return Address(f"{parts.scheme}://{shown}:{found}", host=parts.hostname, port=found)


def serial_address(url: str, baud: int) -> Address:
    """The address in SCHEME:/dev/PORT?baud=N; `baud` where the URL does not say it. Raises SettingError."""
    try:
        parts = urlsplit(url)
        given = dict(parse_qsl(parts.query, keep_blank_values=True, strict_parsing=bool(parts.query)))
        speed = int(given.pop("baud", baud))
    except ValueError:
        parts, given, speed = urlsplit(""), {}, 0
    if not parts.path.startswith("/") or parts.netloc or given or speed <= 0:
        scheme = url.partition(":")[0]
        raise SettingError(
            f"[source] url: not a serial port of an instrument: expected {scheme}:/dev/PORT?baud={baud}", _WRITE
        )
    return Address(f"{parts.scheme}:{parts.path}?baud={speed}", path=parts.path, baud=speed)


_WRITE = "write [source] url as the README's table of sources shows it"


def opened(address: Address, action: Callable[[], Any]) -> Any:
    """What `action` opens; Trouble in words where it cannot."""
    try:
        return action()
    except PORT_ERRORS as wrong:
        state, why = _not_opened(wrong, bool(address.path))
        raise Trouble(state, why) from wrong


def _not_opened(wrong: BaseException, is_serial: bool) -> tuple[LinkState, str]:
    if getattr(wrong, "errno", None) is None and wrong.__context__ is not None:
        wrong = wrong.__context__  # pyserial's socket tells the cause in its text only
    number = getattr(wrong, "errno", None)
    if is_serial:
        if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
            return "unplugged", "no such port; plug the instrument in, it is opened as soon as it is there"
        if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in str(wrong):
            return "port_taken", "another program has the port open; close it there"
        if number in (errno.EACCES, errno.EPERM):
            return "refused", "no permission to open it; let the service's user into the port's group (often dialout)"
        return "refused", f"cannot be opened: {_words(wrong)}"
    if isinstance(wrong, socket.gaierror):
        return "refused", "no such host; check the name and the network"
    if isinstance(wrong, TimeoutError):
        return "refused", "nobody answers there; check the address, the cable and a firewall"
    if number == errno.ECONNREFUSED:
        return "refused", "the host is there but refuses the connection; check the port and the instrument's settings"
    return "refused", f"cannot be reached: {_words(wrong)}"


def lost(address: Address, wrong: BaseException) -> NoReturn:
    """Raise the Trouble of an open connection that broke."""
    if address.path:
        raise Trouble("unplugged", "the port is gone; plug the instrument in again") from wrong
    raise Trouble("hung_up", "the instrument closed the connection; it is opened again") from wrong


def _words(wrong: BaseException) -> str:
    return getattr(wrong, "strerror", None) or str(wrong) or type(wrong).__name__
