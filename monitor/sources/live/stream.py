"""A logger that sends lines over some transport: opened, read, parsed, watched, and reopened for ever."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from monitor.base.vehicle import LogSettings
from monitor.sources.live.arrival import Arrival, LinkState
from monitor.sources.live.backoff import Backoff
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.diagnose import excerpt, is_halved, is_noise
from monitor.sources.live.dialect import Dialect, Heard
from monitor.sources.live.lines import Line
from monitor.sources.live.splitter import Splitter
from monitor.sources.live.transport import READ_S, Connect, LinkError, Transport

GARBAGE_S = 10.0  # our choice: a logger's greeting, or a line disturbed by a crank, is over by then
BAD_LINES = 3  # our choice: one line may be disturbed, and its neighbours
UNENDED = 2048  # bytes without the end of a line; our choice: hardly a line of a log is so long
_RECENT = 512  # bytes kept to be looked at


@dataclass(frozen=True, slots=True)
class Seams:
    """What comes from outside the program: clocks, waiting, chance. For tests and for nothing else.

    monotonic  seconds, for deadlines
    rest       waits so many seconds
    jitter     0 to 1, scatters the attempts to reopen
    """

    monotonic: Callable[[], float] = time.monotonic
    rest: Callable[[float], None] = time.sleep
    jitter: Callable[[], float] = random.random


@dataclass(frozen=True, slots=True)
class Habits:
    """How a kind of link behaves.

    has_speed   a wrong baud rate is possible
    starts_mid  what comes first may be the end of a line
    calls_again a link that is silent is opened anew: a connection may be dead without a sign of it. Not a serial port:
                opening it restarts many loggers
    """

    has_speed: bool = False
    starts_mid: bool = False
    calls_again: bool = False


class StreamLogger:
    """A live logger (see `LiveLogger`) on whatever `connect` opens."""

    def __init__(
        self,
        name: str,
        connect: Connect,
        habits: Habits,
        settings: LogSettings,
        nominal_v: float,
        silence_s: float,
        clock: ArrivalClock,
        seams: Seams,
    ) -> None:
        self.name = name
        self._connect = connect
        self._habits = habits
        self._silence_s = silence_s
        self._clock = clock
        self._seams = seams
        self._dialect = Dialect(name, settings, nominal_v)
        self._splitter = Splitter()
        self._backoff = Backoff(jitter=seams.jitter)
        self._port: Transport | None = None
        self._lock = threading.Lock()  # whoever closes waits for the read to end
        self._closed = False
        self._next_try = seams.monotonic()
        self._heard_at = seams.monotonic()  # bytes, or the opening
        self._first = False  # the next line is the first since the opening
        self._again = False  # lines that were there before this start are on their way
        self._recent = b""  # bytes since the last row
        self._bad_lines = 0  # refused since the last row
        self._bad_since: float | None = None
        self._state: LinkState = "opening"
        self._why = ""
        self._told: LinkState | None = None

    def poll(self, timeout_s: float) -> Arrival:
        """Wait up to `timeout_s` for rows or another state; opening a port may take a few seconds longer."""
        deadline = self._seams.monotonic() + timeout_s
        while True:
            left = deadline - self._seams.monotonic()
            self._step(max(0.0, min(READ_S, left)))
            arrival = self._arrival()
            if arrival.rows is not None or arrival.raw or arrival.state != self._told or left <= 0:
                self._told = arrival.state
                return arrival

    def close(self) -> None:
        """Let go of the port."""
        self._closed = True
        with self._lock:
            if self._port is not None:
                self._port.close()
            self._port = None

    def _step(self, wait_s: float) -> None:
        now = self._seams.monotonic()
        waits = self._port is None and now < self._next_try
        if self._closed or waits:
            self._seams.rest(min(wait_s, self._next_try - now) if waits else wait_s)
        with self._lock:
            if not (self._closed or waits):
                try:
                    self._read(wait_s)
                except LinkError as broken:
                    self._broke(broken)
            now = self._seams.monotonic()
            self._dialect.look(now)
            self._watch(now)

    def _read(self, wait_s: float) -> None:
        if self._port is None:
            self._port = self._connect()
            self._first = self._habits.starts_mid
            self._heard_at = self._seams.monotonic()
            self._clock.mark()
            if self._state != "silent":
                self._is("opening", "")
            return
        data = self._port.read(wait_s)
        if not data:
            self._clock.mark()
            return
        self._heard_at = self._seams.monotonic()
        self._recent = (self._recent + data)[-_RECENT:]
        self._again = self._port.old or (self._again and self._dialect.holding > 0)
        self._split(data, self._port.old)

    def _split(self, data: bytes, old: bool) -> None:
        lines = self._splitter.push(data)
        if not lines:
            self._clock.mark()
            return
        found = [Line(line, at) for line, at in zip(lines, self._clock.spread(len(lines)), strict=True)]
        if old:
            found = [line._replace(kind="old") for line in found]
        if self._first:
            found[0] = found[0]._replace(kind="first")
            self._first = False
        self._dialect.push([line if line.data.endswith(b"\n") else line._replace(kind="long") for line in found])

    def _broke(self, broken: LinkError) -> None:
        self._drop()
        self._is(broken.state, broken.why)
        self._next_try = self._seams.monotonic() + (0.0 if broken.state == "opening" else self._backoff.wait_s())

    def _drop(self) -> None:
        """Let go of the link; the line that had not ended never will."""
        if self._port is not None:
            self._port.close()
        self._port = None
        half = self._splitter.cut()
        if half.strip():
            self._dialect.push([Line(half, self._clock.now(), "cut")])

    def _watch(self, now: float) -> None:
        """Silence and garbage, while the port is open."""
        if self._port is None:
            return
        if now - self._heard_at >= self._silence_s:
            self._is(
                "silent",
                f"nothing has come for {self._silence_s:g} s or more: check that the logger is on and logging, "
                "and its cable; where it logs less often, set [source] silence",
            )
            self._heard_at = now
            if self._habits.calls_again:
                self._drop()
                self._next_try = now + self._backoff.wait_s()
            return
        if not self._is_bad():
            return
        if self._bad_since is None:
            self._bad_since = now
        elif now - self._bad_since >= GARBAGE_S:
            self._is(*self._diagnosis())
            self._bad_since = now
            self._dialect.forget()

    def _is_bad(self) -> bool:
        """Whether what has come since the last row makes it doubtful that one will."""
        unclear = self._dialect.problem is not None and self._dialect.holding >= BAD_LINES
        unlike = is_noise(self._recent) or self._splitter.pending >= UNENDED
        return unclear or unlike or self._bad_lines >= BAD_LINES

    def _diagnosis(self) -> tuple[LinkState, str]:
        if self._habits.has_speed and (is_noise(self._recent) or is_halved(self._recent)):
            return "wrong_speed", (
                "bytes come as they do at another baud rate: set the logger's own, [source] url = "
                '"…?baud=9600"; where it is right, check the ground wire'
            )
        if is_noise(self._recent):
            return "garbage", "what comes is no text: check that the logger sends its readings as lines"
        if (problem := self._dialect.problem) is not None:
            return "garbage", f"{problem.what.removeprefix(self.name).lstrip(':, ')}: {problem.remedy}"
        shown = f", as {excerpt(self._recent)!r}" if excerpt(self._recent) else ""
        return "garbage", (f"lines come, but none is a row of the log{shown}: check what the logger sends, and [log]")

    def _arrival(self) -> Arrival:
        heard: Heard = self._dialect.heard()
        if heard.rows is not None:
            self._judge(heard)
        # A step of this computer's clock says nothing of times that the logger gives; until rows come, who knows.
        steps = self._clock.take_steps() if heard.rows is not None or self._dialect.stamped else ()
        return Arrival(
            heard.raw,
            heard.rows,
            self._state,
            self._why,
            stamped=self._dialect.stamped,
            clock_steps=steps if self._dialect.stamped else (),
            again=self._again,
            head=self._dialect.head,
        )

    def _judge(self, heard: Heard) -> None:
        rows = heard.rows
        if rows is not None and len(rows.t_us):
            self._bad_lines, self._bad_since, self._recent = 0, None, b""
            self._backoff.reset()
            if self._port is not None:
                self._is("speaking", self._dialect.assumption)
        elif rows is not None:
            self._bad_lines += sum(fault.count for fault in rows.faults)

    def _is(self, state: LinkState, why: str) -> None:
        self._state, self._why = state, why
