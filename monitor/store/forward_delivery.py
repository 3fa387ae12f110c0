"""Lines to a server until each is accepted or refused; what is neither is kept for the next attempt.

A refused or too large batch is halved until the lines that the server will not take stand alone: the good ones beside
them are sent again, which changes nothing where they are stored already. Before that a line is sent that nobody could
refuse: a server that refuses it too is set up wrong, and all lines are kept. A batch that a slow or failing server did
not take three times is halved as well.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from monitor.store.forward_backlog import Rejected
from monitor.store.forward_server import Answer, Server
from monitor.store.lines import size

PATIENCE = 3  # attempts before a batch is made smaller for a slow server; our choice


class Delivery:
    """The lines on their way; empty when each was accepted or refused.

    accepted   lines that the server took
    rejected   lines that it refused, with its reason; for the caller to take
    """

    def __init__(self, server: Server, most_points: int, most_bytes: float, harmless: str) -> None:
        self.server, self.most_points, self.most_bytes, self.harmless = server, most_points, most_bytes, harmless
        self.accepted = 0
        self.rejected: list[Rejected] = []
        self._parts: deque[Sequence[str]] = deque()
        self._attempts = 0
        self._proved = False  # the server took something since these lines were put in

    def put(self, lines: Sequence[str]) -> None:
        """Lines to send, after those that still wait."""
        self._proved = False
        for start in range(0, len(lines), self.most_points):
            self._fit(lines[start : start + self.most_points])

    def _fit(self, part: Sequence[str]) -> None:
        """Append these lines, in halves where they are too many bytes for one request."""
        if len(part) > 1 and size(part) > self.most_bytes:
            middle = len(part) // 2
            self._fit(part[:middle])
            self._fit(part[middle:])
        else:
            self._parts.append(part)

    def __bool__(self) -> bool:
        """Whether lines wait."""
        return bool(self._parts)

    def attempt(self) -> Answer:
        """One attempt with the oldest lines; the server's answer. Call it again while lines wait."""
        part = self._parts[0]
        answer = self.server.write(part)
        if answer.meaning == "accepted":
            self._done(part)
            self._proved = True
        elif answer.meaning in ("refused", "too_large"):
            return self._refused(part, answer)
        else:
            self._attempts += 1
            if self._attempts % PATIENCE == 0 and answer.meaning != "denied" and len(part) > 1:
                self._halve(part)
        return answer

    def _refused(self, part: Sequence[str], answer: Answer) -> Answer:
        if not self._proved and (answer.meaning == "refused" or len(part) == 1):
            proof = self.server.write([self.harmless])
            if proof.meaning != "accepted":
                return Answer("denied", answer.reason) if proof.meaning in ("refused", "too_large") else proof
            self._proved = True
        if len(part) > 1:
            self._halve(part)
        else:
            self.rejected.append((part[0], answer.reason))
            self._parts.popleft()
            self._attempts = 0
        return answer

    def _done(self, part: Sequence[str]) -> None:
        self.accepted += len(part)
        self._parts.popleft()
        self._attempts = 0

    def _halve(self, part: Sequence[str]) -> None:
        middle = len(part) // 2
        self._parts[0] = part[middle:]
        self._parts.appendleft(part[:middle])
