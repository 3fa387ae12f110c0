"""Samples from an MQTT broker: payloads on subscribed topics are lines of a log, or SenML.

QoS 1 and a session that the broker keeps: what is published while we are away comes when we are back. A message is
acknowledged once the journal has its rows; what a crash makes the broker send again is known by its content and its
time, and passed over. Brokers stop sending when some 20 are not acknowledged: where more than HELD_MOST are held, the
oldest is acknowledged before its time, so that a crash costs a publisher of more than ten messages a second the last
second or two, as it does with a logger on a cable. Payloads without a time of their own can only be had live: QoS 0, no
session, stamped as they come.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.base.errors import SettingError
from monitor.base.ledger import RefusedLine
from monitor.base.tables.broker import BrokerTable
from monitor.base.vehicle import Vehicle
from monitor.sources.live.arrival import Arrival, LinkState
from monitor.sources.live.backoff import Backoff
from monitor.sources.live.broker_client import CONNECT_S, Broker
from monitor.sources.live.clock import ArrivalClock
from monitor.sources.live.dialect import Dialect
from monitor.sources.live.lines import Line
from monitor.sources.rows import Cells, Fault, Rows, readable, together

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

HELD_MOST = 15  # messages that wait for the journal; our choice: 1.5 s at 10 Hz, and fewer than brokers allow
LONGEST = 256 * 1024  # bytes of a payload; our choice: an hour at 10 Hz
KNOWN = 1000  # messages remembered; our choice: far more than a broker has under way
AT_ONCE = 500  # messages taken in one look; our choice
UNREAD = 30  # lines in a row without a reading that are garbage; our choice, more than a title block
LOOK_S = 0.2  # between two looks at whether we are to close
FIRST_S = 1.0  # before the first new try
TOO_LONG = f"payload over {LONGEST // 1024} KiB"
SENT_AGAIN = "sent again by the broker"
RETAINED = "kept by the broker, and without a time of its own"
NO_TIME = "no time of its own"


def open_broker(
    url: str, vehicle: Vehicle, clock: ArrivalClock | None = None, since_us: int | None = None, guest: bool = False
) -> BrokerLogger:
    """The logger behind the broker at mqtt://HOST:PORT or mqtts://HOST:PORT; raises SettingError."""
    table = vehicle.broker
    if table is None or not table.topics:
        raise SettingError(
            "no topics: which topics the samples come on is not said",
            'write [broker] topics = ["…"] into the vehicle file',
        )
    broker = Broker(url, table, table.client_id(vehicle.name, "check" if guest else "in"))
    silence_s = 120.0 if vehicle.source is None else vehicle.source.silence_s
    dialect = Dialect(broker.name, vehicle.log, vehicle.battery.nominal_v)
    return BrokerLogger(broker, table, dialect, silence_s, clock or ArrivalClock(), since_us, guest)


class BrokerLogger:
    """A LiveLogger behind a broker.

    since_us  time of the last sample that is stored; what is sent again from before it is passed over
    guest     only looks; what it hears is also kept for the service
    """

    def __init__(
        self,
        broker: Broker,
        table: BrokerTable,
        dialect: Dialect,
        silence_s: float,
        clock: ArrivalClock,
        since_us: int | None = None,
        guest: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = broker.name
        self.clock = clock
        self._broker = broker
        self._table = table
        self._live = table.times == "arrival"
        self._keeps = not (self._live or guest)  # the broker, what is published while we are away
        self._held_most = HELD_MOST if self._keeps else 0
        self._dialect = dialect
        self._silence_s = silence_s
        self._since_us = since_us
        self._now = monotonic
        self._closing = threading.Event()
        self._client: Client | None = None
        self._let_in = False
        self._trouble: tuple[LinkState, str] | None = None  # what a callback met; the client may not be closed in one
        self._asked_s = self._due_s = self._heard_s = monotonic()
        self._backoff = Backoff(FIRST_S)
        self._state: LinkState = "opening"
        self._why = ""
        self._inbox: list[MQTTMessage] = []
        self._held: deque[MQTTMessage] = deque()  # handed on and not acknowledged
        self._handed = self._acknowledged = 0  # messages, ever
        self._told = 0  # of those handed on, how many the last receipt was for
        self._stored: deque[int] = deque()  # so many of them are stored, as told by another thread
        self._again = False  # rows to come may be sent again
        self._known: OrderedDict[bytes, None] = OrderedDict()
        self._raw = b""  # what came with this look, for the recording
        self._number = 0
        self._unread = 0  # lines since the last reading

    def poll(self, timeout_s: float) -> Arrival:
        """What the broker sent until now, or within `timeout_s`."""
        end = self._now() + timeout_s
        if self._client is None:
            self._closing.wait(max(0.0, min(timeout_s, self._due_s - self._now())))
            if not self._closing.is_set() and self._now() >= self._due_s:
                self._connect()
        self._listen(end)
        if self._closing.is_set():
            self._leave()  # it may have been connected while it was being closed
        rows = self._taken()
        if self._state == "speaking" and self._now() - self._heard_s >= self._silence_s:
            topics = ", ".join(self._table.topics)
            self._state = "silent"
            self._why = f"the broker is there, but nothing comes on {topics}; check what publishes there"
        why = self._why or (self._dialect.assumption if self._state == "speaking" else "")
        steps = self.clock.take_steps()
        return Arrival(
            self._raw,
            rows,
            self._state,
            why,
            self._dialect.stamped,
            clock_steps=steps,
            head=self._dialect.head,
            stored=self._receipt(),
        )

    def close(self) -> None:
        """Leave the broker; what was not acknowledged comes again with the next start."""
        self._closing.set()
        self._leave()

    def _connect(self) -> None:
        callbacks = {
            "on_connect": self._on_connect,
            "on_subscribe": self._on_subscribe,
            "on_message": lambda _client, _data, message: self._inbox.append(message),
            "on_disconnect": self._on_disconnect,
        }
        self._let_in, self._trouble = False, None
        self._acknowledged += len(self._held)  # no more: the broker sends them again
        self._held.clear()
        try:
            self._client = self._broker.connect(callbacks, keep=self._keeps)
        except (OSError, ValueError) as wrong:
            self._client = None
            self._broken(*self._broker.unreachable(wrong))
        self._asked_s = self._now()

    def _listen(self, end: float) -> None:
        """Let the client work until something came, or the time is over."""
        self._acknowledge()
        while (client := self._client) is not None and not self._closing.is_set():
            before = len(self._inbox)
            wait_s = 0.0 if before else max(0.0, min(LOOK_S, end - self._now()))
            try:
                is_sound = client.loop(wait_s) == 0
            except (OSError, ValueError, AttributeError):  # closed by another thread
                is_sound = False
            if self._trouble is not None:
                self._broken(*self._trouble)
            elif not is_sound:
                self._broken("hung_up", "the broker closed the connection; it is opened again")
            elif not self._let_in and self._now() - self._asked_s > CONNECT_S:
                self._broken("refused", "what is there does not answer as a broker does; check the port")
            if len(self._inbox) >= AT_ONCE or (before and len(self._inbox) == before) or self._now() >= end:
                return

    def _acknowledge(self) -> None:
        stored = self._acknowledged
        while self._stored:
            stored = max(stored, self._stored.popleft())  # rows that were dropped may be told of before earlier ones
        while self._held and (len(self._held) > self._held_most or self._acknowledged < stored):
            message = self._held.popleft()
            self._acknowledged += 1
            if self._client is not None:
                self._client.ack(message.mid, message.qos)

    def _receipt(self) -> Callable[[], None] | None:
        """What acknowledges the messages so far; lines that the dialect still holds are behind the newest of them."""
        if self._dialect.holding or self._handed == self._told:
            return None
        self._told = self._handed
        return partial(self._stored.append, self._handed)

    def _taken(self) -> Rows | None:
        """The rows of the messages that came, and what was no row."""
        parts: list[Rows] = []
        fresh: list[bytes] = []
        again = False
        now = self._now()
        for message in self._inbox:
            if message.qos:
                self._held.append(message)
                self._handed += 1
            reason = self._flaw(message)
            if reason is not None:
                self._number += 1
                place = RefusedLine(message.topic, self._number, readable(bytes(message.payload[:120])))
                parts.append(Rows(np.empty(0, np.int64), {}, _nowhere, (Fault(reason, 1, (place,)),)))
                continue
            again = again or message.dup or message.retain
            fresh.extend(_lines(bytes(message.payload)))
        if self._inbox:
            self._heard_s = now
            if self._state == "silent":
                self._state, self._why = "speaking", ""
        self._inbox.clear()
        if fresh:
            times = self.clock.spread(len(fresh))
            self._dialect.push([Line(data, at_us) for data, at_us in zip(fresh, times, strict=True)])
        self._dialect.look(now)
        heard = self._dialect.heard()
        rows, self._raw = heard.rows, heard.raw
        self._again = self._again or again
        if rows is not None:
            parts.append(self._own_times(self._unknown(rows) if self._again else rows))
            self._again = again
        self._judge(len(fresh), rows)
        return together(parts)

    def _judge(self, lines: int, rows: Rows | None) -> None:
        """Whether what comes can be read."""
        if rows is not None and len(rows.t_us) and (self._live or not self._dialect.stamped):
            self._unread = 0
            if self._let_in:
                self._state, self._why = "speaking", ""
            return
        self._unread += lines
        if self._state not in ("speaking", "garbage"):
            return
        if (problem := self._dialect.problem) is not None:
            self._state, self._why = "garbage", f"{problem.what}: {problem.remedy}"
        elif self._unread >= UNREAD:
            self._unread = 0
            self._dialect.forget()
            if self._state == "speaking":
                reasons = ", ".join(sorted({bad.reason for bad in rows.faults})) if rows is not None else "no header"
                self._state, self._why = "garbage", f"messages come, and no readings in them: {reasons}"

    def _flaw(self, message: MQTTMessage) -> str | None:
        """Why a message is not read; each one read is remembered."""
        if len(message.payload) > LONGEST:
            return TOO_LONG
        if self._live:
            return RETAINED if message.retain else None
        key = message.topic.encode() + b"\0" + bytes(message.payload)
        known = key in self._known
        self._known[key] = None
        while len(self._known) > KNOWN:
            self._known.popitem(last=False)
        return SENT_AGAIN if known and (message.dup or message.retain) else None

    def _unknown(self, rows: Rows) -> Rows:
        """Rows that may be sent again: those of before the last start are known."""
        if self._since_us is None or self._dialect.stamped:
            return rows
        return _without(rows, rows.t_us <= self._since_us, SENT_AGAIN)

    def _own_times(self, rows: Rows) -> Rows:
        """Late messages must not be stamped as if they were new."""
        if self._live or not self._dialect.stamped or not len(rows.t_us):
            return rows
        self._state = "garbage"
        self._why = (
            'the payloads carry no time; send it along, or set [broker] times = "arrival", which '
            "loses what is published while this program or the broker is away"
        )
        return _without(rows, np.ones(len(rows.t_us), bool), NO_TIME)

    def _on_connect(self, client: Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            self._trouble = "refused", self._broker.refusal(reason)
            return
        self._let_in = True
        self._backoff.reset()
        self._heard_s = self._now()
        client.subscribe([(topic, 0 if self._live else 1) for topic in self._table.topics])

    def _on_subscribe(self, _client: Client, _data: object, _mid: int, reasons: list[Any], _properties: object) -> None:
        refused = [t for t, reason in zip(self._table.topics, reasons, strict=False) if reason.is_failure]
        if refused:
            why = f"the broker refuses us the topic {refused[0]}; check the user's rights there"
            self._trouble = "refused", why
        elif self._state not in ("speaking", "garbage"):
            self._state, self._why = "speaking", ""

    def _on_disconnect(self, _client: Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if self._let_in and reason.is_failure and self._trouble is None:
            why = f"the connection ended ({reason}); it is opened again"
            if "taken over" in str(reason):
                why = "another program uses our name at the broker; give each a [broker] client of its own"
            self._trouble = "hung_up", self._broker.said(why)

    def _broken(self, state: LinkState, why: str) -> None:
        self._state, self._why = state, why
        self._leave()
        self._let_in = False
        self._due_s = self._now() + self._backoff.wait_s()

    def _leave(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.on_disconnect = None
            client.disconnect()


def _lines(payload: bytes) -> list[bytes]:
    """The lines of a payload, each ended; JSON that runs over several lines is one."""
    if payload.lstrip()[:1] in (b"[", b"{"):
        lines = [payload.replace(b"\r", b" ").replace(b"\n", b" ")]
    else:
        lines = payload.replace(b"\r\n", b"\n").split(b"\n")
    return [line + b"\n" for line in lines if line.strip()]


def _without(rows: Rows, out: np.ndarray, reason: str) -> Rows:
    """The rows without some, which are counted instead."""
    index = np.flatnonzero(out)
    if not len(index):
        return rows
    kept = np.flatnonzero(~out)
    where = rows.where
    bad = Fault(reason, len(index), tuple(where(int(row)) for row in index[:3]))
    channels = {
        name: Cells(cells.values[kept], None if cells.flaws is None else cells.flaws[kept])
        for name, cells in rows.channels.items()
    }
    return Rows(rows.t_us[kept], channels, lambda row: where(int(kept[row])), (*rows.faults, bad), rows.lines)


def _nowhere(row: int) -> RefusedLine:
    raise IndexError(row)
