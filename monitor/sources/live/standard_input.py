"""Standard input: another program's output, until it ends."""

from __future__ import annotations

import os
import select
import time
from collections.abc import Callable

from monitor.sources.live.transport import COLLECT_S, MOST_BYTES, LinkError, told

_ENDED = "it has ended: start keyoff again with the logger's output piped into it"


class StandardInput:
    """Reads a descriptor until its end, after which it cannot be opened again."""

    old = False

    def __init__(self, descriptor: int = 0, rest: Callable[[float], None] = time.sleep) -> None:
        self._descriptor = descriptor
        self._rest = rest
        self._ended = ""

    def connect(self) -> StandardInput:
        """Itself, as long as it has not ended."""
        if self._ended:
            raise LinkError("hung_up", self._ended)
        return self

    def read(self, timeout_s: float) -> bytes:
        """Bytes that have come."""
        try:
            if not select.select([self._descriptor], [], [], timeout_s)[0]:
                return b""
            self._rest(COLLECT_S)
            data = os.read(self._descriptor, MOST_BYTES)
        except (OSError, ValueError) as error:
            self._ended = f"it cannot be read ({told(error)}): start keyoff again with it open"
            raise LinkError("hung_up", self._ended) from None
        if not data:
            self._ended = _ENDED
            raise LinkError("hung_up", _ENDED)
        return data

    def close(self) -> None:
        """It is not ours to close."""
