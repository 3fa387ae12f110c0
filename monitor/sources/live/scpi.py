"""SCPI over a socket or a serial line: a meter is asked for its readings (SCPI-1999, IEEE 488.2).

At opening *CLS, the lines of `setup` and *IDN?, so that it is known who answers; then one query a channel at a rhythm.
When a query stays unanswered the instrument's error queue says why. Only a terminated line is a reply; after a missed
deadline the connection is opened anew, so that a late reply cannot be taken for that of the next query.
"""

from __future__ import annotations

import re
import time
from contextlib import suppress
from typing import TYPE_CHECKING

from monitor.base.errors import SettingError
from monitor.base.tables.scpi import Question, ScpiTable
from monitor.base.vehicle import Vehicle
from monitor.sources.cells import numbers_in
from monitor.sources.header import Source
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.polled import PolledLogger, Reading, Trouble
from monitor.sources.live.polled_port import PORT_ERRORS, Address, lost, opened, serial_address, socket_address
from monitor.sources.rows import CHANNELS, NOT_A_NUMBER, OVERLOAD, OVERLOAD_FIGURE, readable
from monitor.sources.units import BASE, said_unit

if TYPE_CHECKING:
    import serial

BAUD = 9600  # common practice
LOOK_S = 0.05  # a read waits so long for a byte, then looks at its deadline
QUIET_S = 0.1  # so long nothing may come before a conversation begins; our choice, 100 bytes at 9600 baud
LONGEST_REPLY = 1000  # bytes; our choice: no reading and no identity is longer
ERRORS_READ = 20  # of the queue, at most; our choice: the first says what is wrong
ERROR_QUERY = "SYSTem:ERRor?"
_ERROR = re.compile(r'\s*([+-]?\d+)\s*,\s*"?(.*?)"?\s*')  # SCPI-1999 vol. 2, 21.8
_NOT_A_NUMBER = re.compile(r"[+-]?nan", re.IGNORECASE)


def open_scpi(
    url: str, vehicle: Vehicle, clock: ArrivalClock | None = None, since_us: int | None = None, guest: bool = False
) -> PolledLogger:
    """The logger at scpi+socket://HOST:PORT or scpi+serial:/dev/PORT?baud=N; raises SettingError.

    `since_us` is not needed: the clock is past it; nor `guest`: to ask takes nothing from anybody.
    """
    instrument = vehicle.instrument
    if instrument is None or instrument.scpi is None:
        raise SettingError(
            "no queries: what the instrument is to be asked is not said",
            "write a table [instrument.scpi] into the vehicle file; empty, it asks for volts",
        )
    address = serial_address(url, BAUD) if url.startswith("scpi+serial:") else socket_address(url)
    meter = ScpiMeter(address, instrument.scpi, instrument.deadline_s)
    silence_s = 120.0 if vehicle.source is None else vehicle.source.silence_s
    return PolledLogger(meter, instrument.every_s, silence_s, clock or ArrivalClock())


class ScpiMeter:
    """A SCPI instrument as a meter."""

    def __init__(self, address: Address, table: ScpiTable, deadline_s: float) -> None:
        self.name = address.url
        self.identity = ""
        self._address = address
        self._setup = table.setup
        self._deadline_s = deadline_s
        asked = {name: getattr(table, name) for name in CHANNELS}
        self._questions: dict[str, Question] = {name: q for name, q in asked.items() if q is not None}
        self._port: serial.SerialBase | None = None
        self.channels = {
            name: Source(
                0, BASE if q.unit is None else said_unit(name, q.unit), -1.0 if q.positive == "discharge" else 1.0
            )
            for name, q in self._questions.items()
        }

    def open(self) -> None:
        """Connect, clear what an earlier conversation left, set up, and ask who answers."""
        import serial

        at = self._address
        url = at.path or f"socket://{at.host}:{at.port}"
        options = {"exclusive": True, "write_timeout": self._deadline_s} if at.path else {}
        self._port = opened(at, lambda: serial.serial_for_url(url, baudrate=at.baud or BAUD, timeout=LOOK_S, **options))
        self._discard(QUIET_S)
        self._send("*CLS")
        who = self._ask("*IDN?")
        if who.count(",") < 3:  # IEEE 488.2, 10.14: maker, model, serial number, version
            raise Trouble("garbage", f"*IDN? is answered by {who[:60]!r}: no such instrument", None, who)
        self.identity = who
        for line in self._setup:
            self._send(line)
            wrong = self._errors()
            if wrong:
                raise Trouble("error", f"{line}: {wrong}; mend [instrument.scpi] setup")

    def read(self) -> Reading:
        """The reply to each channel's query."""
        figures: dict[str, float | None] = {}
        texts: list[str] = []
        troubles: list[Trouble] = []
        for name, question in self._questions.items():
            unasked = self._discard(0.0)
            if unasked:
                text = readable(unasked[:60].strip())
                troubles.append(_unasked(text))
            try:
                reply = self._ask(question.query)
            except Trouble as trouble:
                if not trouble.keep:
                    raise
                troubles.append(trouble)
                continue
            texts.append(f"{name} {reply}")
            figures[name], is_number = _figure(reply, question.scale)
            if not is_number:
                why = f"{question.query} is answered by {reply[:60]!r}, which is no number"
                troubles.append(Trouble("garbage", why, keep=True))
        if not figures:
            raise troubles[0]
        return Reading(figures, ", ".join(texts), tuple(troubles))

    def close(self) -> None:
        """Close the connection."""
        port, self._port = self._port, None
        if port is not None:
            with suppress(*PORT_ERRORS):
                port.close()

    def _ask(self, query: str) -> str:
        """The reply to a query; Trouble with what the error queue says where there is none."""
        self._send(query)
        reply = self._reply(query)
        if reply is not None:
            return reply
        self._send(ERROR_QUERY)
        said = self._reply(ERROR_QUERY)
        if said is None:
            raise Trouble(
                "silent",
                f"no answer to {query} within {self._deadline_s:g} s; check that the instrument is on, "
                "its interface enabled, and address or speed",
            )
        found = _ERROR.fullmatch(said)
        if found is None:
            raise Trouble(
                "silent",
                f"the answer to {query} takes longer than {self._deadline_s:g} s; "
                "raise [instrument] deadline or let it integrate for less long",
                "late reply",
                said,
            )
        if int(found[1]) == 0:
            raise Trouble("silent", f"{query} is neither answered nor refused; check the query")
        self._errors()
        why = f"{query}: {found[1]}, {found[2]}; check the query in [instrument.scpi]"
        raise Trouble("error", why, f"instrument error {int(found[1])}", said, keep=True)

    def _errors(self) -> str:
        """What waits in the error queue, oldest first, and the queue is empty then; "" for nothing."""
        first = ""
        for _ in range(ERRORS_READ):
            self._send(ERROR_QUERY)
            said = self._reply(ERROR_QUERY)
            found = None if said is None else _ERROR.fullmatch(said)
            if found is None or int(found[1]) == 0:
                break
            first = first or f"{found[1]}, {found[2]}"
        return first

    def _send(self, line: str) -> None:
        try:
            self._open_port().write(line.encode("ascii") + b"\n")
        except PORT_ERRORS as wrong:
            lost(self._address, wrong)

    def _reply(self, query: str) -> str | None:
        """The next whole line, without its end; None when nothing came in time."""
        line = self._read(self._deadline_s, b"\n")
        if line.endswith(b"\n"):
            return readable(line.strip())
        if line:
            text = readable(line[:60])
            raise Trouble("garbage", f"{query}: half a reply: {text!r}", "half a reply", text)
        return None

    def _discard(self, quiet_s: float) -> bytes:
        """Take what waits, until nothing came for `quiet_s`; for at most the deadline."""
        got = b""
        end = time.monotonic() + self._deadline_s
        while time.monotonic() < end:
            try:
                if quiet_s == 0.0 and not self._open_port().in_waiting:
                    return got
            except PORT_ERRORS as wrong:
                lost(self._address, wrong)
            more = self._read(max(quiet_s, LOOK_S), b"")
            if not more:
                return got
            got = (got + more)[-LONGEST_REPLY:]
        raise Trouble("garbage", f"it speaks without being asked: {readable(got[:60])!r}")

    def _read(self, wait_s: float, end: bytes) -> bytes:
        """Bytes up to and with `end` (b"": the first that come), as many as come within `wait_s`."""
        got = b""
        deadline = time.monotonic() + wait_s
        try:
            port = self._open_port()
            while time.monotonic() < deadline and len(got) < LONGEST_REPLY:
                # One byte at a time towards an end: what stands behind it belongs to the next reply.
                got += port.read(1 if end else max(1, port.in_waiting))
                if got.endswith(end) and got:
                    break
        except PORT_ERRORS as wrong:
            lost(self._address, wrong)
        return got

    def _open_port(self) -> serial.SerialBase:
        if self._port is None:
            raise Trouble("hung_up", "closed")
        return self._port


def _unasked(text: str) -> Trouble:
    return Trouble("garbage", f"it speaks without being asked: {text!r}", "unasked reply", text, keep=True)


def _figure(reply: str, scale: float) -> tuple[float, bool]:
    """The figure in a reply, and whether it is a number at all; overload and not-a-number as SCPI's figures for them.

    >>> _figure("+1.26500000E+01", 1.0), _figure("-9.9E+37", 0.001), _figure("error", 1.0)
    ((12.65, True), (9.9e+37, True), (nan, False))
    """
    values, flaws = numbers_in([reply.strip()])
    if flaws[0] == OVERLOAD:
        return OVERLOAD_FIGURE, True
    if flaws[0]:
        is_figure = values[0] != 0.0 or _NOT_A_NUMBER.fullmatch(reply.strip()) is not None
        return float("nan"), bool(flaws[0] == NOT_A_NUMBER) and is_figure
    return float(values[0]) * scale, True
