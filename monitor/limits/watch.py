"""The watch: the engine and the limits on what it finds, for one vehicle; blocks and orders in, events out.

Pure, like the engine: live and replay differ in who feeds it. The events, and their order, depend on the samples and
orders alone, not on how the samples arrived:

- The engine's binner makes whole seconds of the samples. Each is judged at once by the limits on volts and on the
  logger's silence (seconds.py), so that these are told with the second in which the delay runs out.
- The seconds wait for the end of their minute. Then the engine takes all that wait, and the limits are asked: a *look*
  (observe.py) every minute, the assessment (hourly.py) every hour and when a stand or drive has ended. While the
  vehicle stands, nothing is going on and every second is as at the last look, looks are ten minutes apart: that is how
  often the engine itself reads the sleep current.
- Between looks time goes on for each alarm (alarm.py): a delay that runs out is told at its minute.
- A silence moves nothing but the limit on it. `advance` says it while it lasts; `update` says the same afterwards.

Events of a minute: those of its seconds, the findings of the engine, then the alarms in order of time and name. Times
are those of the data. A stand that is told late, because only then its engine's stop is certain, is judged from its
true beginning. Memory is bounded: at most ten minutes (or MOST_ROWS samples) wait, findings are kept for two weeks.

Working on the car (`hush`) suppresses everything, over-voltage too, as the word says; the grace of each limit counts
anew when it ends. To add a quantity: see observe.py.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any

import numpy as np

from monitor.assess import assess
from monitor.base.alarms import Alarm, Transition
from monitor.base.condition import Condition
from monitor.base.errors import SettingError
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.results import Drive, Mark, QuarterHour, Result, Stand
from monitor.base.samples import SECOND_US, Block, Ints, Seconds
from monitor.base.state import VERSION, from_plain, to_plain
from monitor.base.vehicle import Vehicle
from monitor.detect.engine import Engine, Finding
from monitor.detect.facts import Facts
from monitor.detect.now import condition, now
from monitor.detect.seconds import Binned, joined_blocks
from monitor.limits.alarm import DAY_US, LimitAlarm
from monitor.limits.board import Board, alarms_of, in_order
from monitor.limits.calm import Calm, calm_after
from monitor.limits.hourly import HOURLY, Hour, kept, note_ohms, slim
from monitor.limits.observe import EVENTS, MINUTELY, NOTHING, OF_ENDED, Look, Noted, Seen
from monitor.limits.quantities import QUANTITIES
from monitor.limits.rules import Rules, rules_from, rules_text
from monitor.limits.seconds import Cranking, cranking, judge_silence, judge_volts, still_silent

Event = Stand | Drive | QuarterHour | Transition

WATCH_VERSION = 1
MINUTE_S, CALM_S, HOUR_S = 60, 600, 3600
SILENT_S = 60  # a gap from which on what was seen before it no longer counts; our choice: a missed look
MOST_ROWS = 200_000  # samples that wait at most, whatever the rate
KEPT_ORDERS, KEPT_MARKS = 500, 500  # orders that are known to be repeated; marks
SHOWN_ALARMS = 300  # of a document; our choice: more is no help to a reader


@dataclass(slots=True)
class WatchMemory:
    """What the watch itself remembers, beside the engine and the alarms.

    waiting     seconds that the engine has not taken yet, with their samples
    calm        what was seen last, while nothing goes on; None: look every minute
    looked_s    when the last look was
    noted, ohms, kept   of the looks; see observe.py and hourly.py
    hush_us     hushed: until when (−1: until told otherwise); None: not
    hushed_us   when the last hush ended
    """

    waiting: list[Binned] = field(default_factory=list)
    calm: Calm | None = None
    looked_s: int = 0
    gap: bool = False
    cranking: Cranking = field(default_factory=Cranking)
    noted: Noted = field(default_factory=Noted)
    ohms: list[float] = field(default_factory=list)
    kept: list[Finding] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    orders: list[str] = field(default_factory=list)
    hush_us: int | None = None
    hushed_us: int | None = None
    untold: list[Transition] = field(default_factory=list)


class Watch:
    """Feeds the engine and judges what it says; bounded memory, all state in plain objects.

    rules  resolved for this vehicle
    zone   whose days and nights are meant; None: UTC
    """

    def __init__(self, vehicle: Vehicle, rules: Rules, zone: tzinfo | None) -> None:
        self.vehicle, self.zone = vehicle, zone
        self.facts = Facts.of(vehicle)
        self.engine = Engine(self.facts)
        self.memory = WatchMemory()
        self._use(Board(rules))

    def _use(self, board: Board) -> None:
        self.board = board
        self._due_us: int | None = None  # when the next alarm may be due by itself; None: to be worked out
        self._volts = board.of(["volts"])
        self._silence = board.of(["logger_silence"])
        self._looked = board.of([*MINUTELY, *EVENTS, *HOURLY])
        self._told = board.of(name for name, known in QUANTITIES.items() if known.judged != "second")

    def update(self, block: Block) -> list[Event]:
        """Take the next samples; what has ended or changed, in order."""
        events: list[Event] = [*self.memory.untold]
        self.memory.untold = []
        binned = self.engine.binner.update(block)
        seconds = binned.seconds
        if not len(seconds):
            return events
        behind = int(self.engine.binner.state.pending.t_us[0])
        pauses = self._pauses(binned.samples.t_us, behind)
        spared = cranking(self.memory.cranking, seconds, self.facts.scale)
        self.memory.waiting.append(binned)
        minutes = seconds.second // MINUTE_S
        cuts = [0, *(np.flatnonzero(np.diff(minutes)) + 1).tolist(), len(seconds)]
        for begin, end in itertools.pairwise(cuts):
            part, minute = seconds[begin:end], int(minutes[begin])
            events += self._judge_seconds(part, spared[begin:end], pauses)
            if end < len(seconds) or behind // SECOND_US // MINUTE_S > minute:
                events += self._end_minute((minute + 1) * MINUTE_S)
        return events

    def advance(self, t_us: int) -> list[Event]:
        """Data time goes on to `t_us` without a sample: the logger is silent, and alarms may be due."""
        pending = self.engine.binner.state.pending
        told: list[Transition] = []
        if len(pending):
            for alarm in self._silence:
                told += still_silent(alarm, int(pending.t_us[-1]), t_us)
        return [*in_order(told)]

    def order(self, order: Order) -> list[Event]:
        """Carry out an order at this place among the samples; raises SettingError for one that cannot be."""
        memory = self.memory
        if order.id in memory.orders:
            return []
        events = self.advance(order.at)
        events += in_order(self._carry_out(order))
        self._due_us = None
        memory.orders = [*memory.orders, order.id][-KEPT_ORDERS:]
        return events

    @property
    def rules(self) -> Rules:
        """The rules in force."""
        return self.board.rules

    @property
    def hushed_until(self) -> int | None:
        """Hushed until then, µs; −1: until told otherwise; None: not hushed."""
        return self.memory.hush_us

    def alarms(self) -> list[Alarm]:
        """Alarms that are not both normal and acknowledged, the most urgent first."""
        return self.board.shown()

    def condition(self) -> Condition | None:
        """What the vehicle is doing now."""
        return condition(self.engine)

    def document(self, ended: list[Event], ledger: Ledger | None = None) -> Result:
        """The assessed result document of `ended` and of what is open now; changes nothing.

        Its alarms are those of the transitions in `ended` and those that stand, the newest SHOWN_ALARMS.
        """
        return assess(self.detected(ended, ledger), self.vehicle, self.zone)

    def detected(self, ended: list[Event], ledger: Ledger | None = None) -> Result:
        """The same before it is assessed."""
        findings = [event for event in ended if not isinstance(event, Transition)]
        result = self.engine.document(findings, ledger, self.vehicle.name, ahead=_joined(self.memory.waiting))
        result.alarms = self.raised(ended)
        result.marks = list(self.memory.marks)
        return result

    def raised(self, ended: list[Event]) -> list[Alarm]:
        """The alarms that were told, as they stand last, in order of time."""
        told = [event for event in ended if isinstance(event, Transition)]
        return alarms_of(told, self.board.told(), SHOWN_ALARMS)

    def snapshot(self) -> dict[str, Any]:
        """All it remembers, ready for JSON."""
        return {
            "version": [VERSION, WATCH_VERSION],
            "engine": self.engine.snapshot(),
            "rules": rules_text(self.board.rules),
            "alarms": self.board.snapshot(),
            "memory": to_plain(self.memory),
        }

    @classmethod
    def restore(cls, vehicle: Vehicle, rules: Rules, zone: tzinfo | None, snapshot: dict[str, Any]) -> Watch:
        """The watch of `snapshot`, to go on where it stood; ValueError when another version wrote it.

        Where `rules` are others than those of the snapshot, limits that are the same keep their alarms.
        """
        if snapshot["version"] != [VERSION, WATCH_VERSION]:
            raise ValueError(f"state version {snapshot['version']}, this program writes {[VERSION, WATCH_VERSION]}")
        before = rules_from(snapshot["rules"])
        watch = cls(vehicle, before, zone)
        watch.engine = Engine.restore(watch.facts, snapshot["engine"])
        watch.memory = from_plain(snapshot["memory"])
        watch.board.resume(snapshot["alarms"])
        if rules != before:
            watch.memory.untold += watch._change(rules, watch.engine.overview.state.last_us or 0)
        return watch

    # seconds

    def _pauses(self, rows: Ints, behind: int) -> list[tuple[int, int]]:
        """Pauses between samples that a limit on the logger's silence asks about, µs."""
        if not self._silence:
            return []
        least = min(round((alarm.limit.high or 0.0) * SECOND_US) for alarm in self._silence)
        t_us = np.append(rows, behind)
        at = np.flatnonzero(np.diff(t_us) >= least)
        return [(int(t_us[k]), int(t_us[k + 1])) for k in at.tolist()]

    def _judge_seconds(self, part: Seconds, spared: Any, pauses: list[tuple[int, int]]) -> list[Event]:
        """The limits on each second; the silence behind a second comes before the second itself is judged."""
        if (part.gap_us >= SILENT_S * SECOND_US).any():
            self.memory.gap = True
        told: list[tuple[int, int, Transition]] = []
        first, last = int(part.second[0]), int(part.second[-1])
        mine = [pause for pause in pauses if first <= pause[0] // SECOND_US <= last]
        for alarm in self._silence:
            told += [(at, 0, t) for at, t in judge_silence(alarm, part, mine)]
        for alarm in self._volts:
            told += [(at, 1, t) for at, t in judge_volts(alarm, part, spared)]
        if self.memory.gap:
            for at in np.flatnonzero(part.gap_us >= SILENT_S * SECOND_US).tolist():
                told += [(at, 1, t) for alarm in self._looked for t in alarm.silent(int(part.second[at]) * SECOND_US)]
        told.sort(key=lambda k: (k[0], k[1], k[2].at, k[2].alarm.limit, k[2].alarm.side))
        return [t for _, _, t in told]

    # minutes

    def _end_minute(self, end_s: int) -> list[Event]:
        """A minute of data is complete: look, or let time go on."""
        memory, end_us = self.memory, end_s * SECOND_US
        told: list[Transition] = []
        events: list[Event] = []
        look = hour = None
        before_s = memory.looked_s
        if end_s // CALM_S > before_s // CALM_S or not self._is_calm(end_s):
            found = self.engine.detect(self._take(end_us))
            events += found
            look = self._look(end_us, found)
            memory.kept += [slim(finding) for finding in found]
            if end_s // HOUR_S > before_s // HOUR_S or look.ended:
                memory.kept = kept(memory.kept, end_us)
                hour = Hour(look, self.engine, memory.kept, self.vehicle, memory.ohms)
            note_ohms(memory.ohms, look)
            memory.calm, memory.looked_s = calm_after(look), end_s
        if memory.hush_us is not None and 0 <= memory.hush_us <= end_us:
            memory.hush_us, memory.hushed_us = None, memory.hush_us
        if look is None and self._due_us is not None and self._due_us > end_us:
            memory.gap = False
            return []
        changed = True
        for alarm in self._told:
            if alarm.limit.yields_to and changed:
                told += self.board.give_way(end_us)
                changed = False
            was_active = alarm.state.active
            seen = None if look is None else self._seen(alarm, look, hour)
            if seen is not None and seen.waits:
                continue
            if seen is not None and look is not None:
                for at_us, value in seen.earlier:
                    told += alarm.take(at_us, value, celsius=seen.celsius, why=look.why)
                if seen.earlier:
                    continue
                told += alarm.take(end_us, seen.value, seen.at_least, seen.celsius, look.why)
            elif (due := alarm.due_us()) is not None and due <= end_us:
                told += alarm.advance(end_us)
            changed = changed or alarm.state.active != was_active
        told += self.board.give_way(end_us) if changed else []
        dues = [due for alarm in self._told if (due := alarm.due_us()) is not None]
        self._due_us = min(dues, default=end_us + DAY_US)
        memory.gap = False
        return [*events, *in_order(told)]

    def _is_calm(self, end_s: int) -> bool:
        """Whether this minute was as the last look left it, so that nothing new can be seen."""
        memory = self.memory
        if memory.calm is None or memory.gap:
            return False
        if sum(int(np.searchsorted(b.samples.t_us, end_s * SECOND_US)) for b in memory.waiting) > MOST_ROWS:
            return False
        begin_s = end_s - MINUTE_S
        parts = [b.seconds for b in memory.waiting if b.seconds.second[-1] >= begin_s]
        cuts = [np.searchsorted(part.second, [begin_s, end_s]) for part in parts]
        return memory.calm.holds([part[slice(*cut)] for part, cut in zip(parts, cuts, strict=True)])

    def _look(self, end_us: int, found: list[Finding]) -> Look:
        ended = [finding for finding in found if not isinstance(finding, QuarterHour)]
        return Look(end_us, now(self.engine), self._recent, ended, self.facts, self.memory.noted)

    def _take(self, end_us: int) -> Binned:
        """What waits, up to that time; what is behind it goes on waiting."""
        joined = _joined(self.memory.waiting)
        rows = int(np.searchsorted(joined.samples.t_us, end_us))
        whole = int(np.searchsorted(joined.seconds.second, end_us // SECOND_US))
        gaps = [gap for gap in joined.gaps if gap[1] < end_us]
        self.memory.waiting = []
        if whole < len(joined.seconds):
            rest = [gap for gap in joined.gaps if gap[1] >= end_us]
            self.memory.waiting = [Binned(joined.seconds[whole:], joined.samples[rows:], rest)]
        ahead = Binned(joined.seconds[:whole], joined.samples[:rows], gaps)
        since = int(np.searchsorted(ahead.seconds.second, end_us // SECOND_US - MINUTE_S))
        self._recent = ahead.seconds[since:]
        return ahead

    def _seen(self, alarm: LimitAlarm, look: Look, hour: Hour | None) -> Seen | None:
        """What this alarm's limit sees; None: it was not asked."""
        limit = alarm.limit
        if limit.quantity in EVENTS:
            seen = EVENTS[limit.quantity](look, limit)
            return None if seen is NOTHING else seen
        if limit.quantity in MINUTELY:
            seen = MINUTELY[limit.quantity](look, limit)
        elif limit.quantity in HOURLY and hour is not None:
            seen = HOURLY[limit.quantity](hour, limit)
        else:
            return None
        begun = look.begun_us
        if self.memory.hushed_us is not None and begun is not None:
            begun = max(begun, self.memory.hushed_us)
        early = begun is not None and look.t_us - begun < round(limit.after_s * SECOND_US)
        return NOTHING if early and not (limit.quantity in OF_ENDED and look.drive is not None) else seen

    # orders

    def _carry_out(self, order: Order) -> list[Transition]:
        memory, told = self.memory, list[Transition]()
        if order.kind == "hush":
            memory.hush_us = -1 if order.until is None else order.until
            for alarm in self.board.alarms:
                alarm.hush(order.until)
        elif order.kind == "unhush":
            memory.hush_us, memory.hushed_us = None, order.at
            for alarm in self.board.alarms:
                told += alarm.unhush(order.at)
        elif order.kind == "mark":
            memory.marks = [*memory.marks, *([order.mark] if order.mark else [])][-KEPT_MARKS:]
        elif order.kind == "observe":
            for alarm in self.board.of([order.quantity or ""]):
                told += alarm.take(order.at, order.value)
        elif order.kind == "rules":
            try:
                told += self._change(rules_from(order.text or ""), order.at)
            except ValueError as wrong:
                raise SettingError(f"order {order.id}: {wrong}", "send rules as rules_text writes them") from wrong
        else:
            told += self.board.order(order)
        return told

    def _change(self, rules: Rules, at_us: int) -> list[Transition]:
        board, told = self.board.replaced(rules, at_us)
        if self.memory.hush_us is not None:
            for alarm in board.alarms:
                if alarm.state.hushed_us is None:
                    alarm.hush(None if self.memory.hush_us < 0 else self.memory.hush_us)
        self._use(board)
        return told


def _joined(parts: Iterable[Binned]) -> Binned:
    """Consecutive pieces as one."""
    pieces = list(parts)
    if len(pieces) == 1:
        return pieces[0]
    samples = joined_blocks([piece.samples for piece in pieces])
    seconds = Seconds.join([piece.seconds for piece in pieces])
    return Binned(seconds, samples, [gap for piece in pieces for gap in piece.gaps])
