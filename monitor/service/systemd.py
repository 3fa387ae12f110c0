"""What the service says to the system's service manager (sd_notify(3)): ready, status, alive, stopping.

The protocol is datagrams of NAME=VALUE lines to the socket that $NOTIFY_SOCKET names; without it nothing is said.
"""

from __future__ import annotations

import socket
import time
from collections.abc import Mapping
from contextlib import suppress


class Manager:
    """The service manager that started this process, or nobody."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address  # @: the abstract name space
        limit = environment.get("WATCHDOG_USEC", "")
        self.watchdog_s = int(limit) / 1e6 if limit.isdigit() else None

    def say(self, **facts: str | int) -> None:
        """Tell it NAME=VALUE facts; a manager that does not listen is no fault of ours."""
        if not self._address:
            return
        text = "\n".join(f"{name}={value}" for name, value in facts.items())
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as wire:
            wire.connect(self._address)
            wire.sendall(text.encode())

    def reloading(self) -> None:
        """Settings are being read again; `say(READY=1)` ends that."""
        self.say(RELOADING=1, MONOTONIC_USEC=time.monotonic_ns() // 1000)
