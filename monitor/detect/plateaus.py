"""Plateaus of the key-off current: settling, sleep plateaus, level steps, and the excursions above them.

The seconds of a stand are read in frames of FRAME_S of data time. While no level is known the tracker seeks one: the
level of the last seconds, if they agree, held from the first lasting stretch at that level. While one is held, rows
outside its band open an excursion (above) or a fall (below). An excursion that comes back is a wake-up; one that
outlasts STEP_UP_S, or a fall that outlasts STEP_DOWN_S, is a step: the level is sought anew from where it began, and
the rows since are read again against it, so that wake-ups on top of the new level are found too.

Slow drift is followed, not reported. Warm-up: a level must be held for ESTABLISH_S before it counts. A gap ends an
excursion where the data end; a plateau goes on behind it.
Method: our own; the interval of a level is that of batch means (Law & Kelton, Simulation Modeling and Analysis,
from memory), which respects autocorrelation.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace

import numpy as np

from monitor.base.samples import SECOND_US, Bools, Floats, Ints, Seconds
from monitor.detect.held import Held
from monitor.detect.levels import DRIFT_ROWS, MINUTES, STAYS_SHARE, baseline, narrow_a
from monitor.detect.rows import FLOAT_A, NONE, Rows
from monitor.detect.seeking import find_level
from monitor.detect.sides import sides
from monitor.detect.texture import (
    ENOUGH,
    NOISE_TIMES,
    SPIKES_MANY,
    SPIKES_SINGLE,
    Texture,
    texture_of,
    without_spikes,
)

FRAME_S = 600  # data time read at once; our choice: short against drift, long against noise
STEP_UP_S = 3600  # an excursion is a wake-up up to an hour, then a step
STEP_DOWN_S = 120  # a fall shorter than this is not a step
RETURN_S, CLEAR_TIMES = 3, 3.0  # in band for so long ends an excursion, at once one that stood out by three bands
TAIL_S, TAIL_SHARE = 60, 0.3  # …or for so long, while it is over this share of the band: it dies away; our choice
CANCEL_S = 10  # in band for so long ends a fall
ARRIVALS_S = (0, 60, 120, 240)  # so much before the end of a stand is left out in turn; our choice
SEEK_ROWS_S = 7200  # seeking looks back no further, so memory is bounded
FOLLOW_ROWS = 30  # the level follows a frame of n rows by the share n / (n + FOLLOW_ROWS)
TURNS = 8  # times a frame is read again; rows left then wait for more data
RECENT_ROWS = 40  # of a slow logger, by which its texture is judged
CHARGE_US = 60 * SECOND_US  # charge for so long ends a plateau
KEPT_PLATEAUS, KEPT_EXCURSIONS = 500, 5000  # bounds of one stand; more wake-ups are counted, not listed


@dataclass(frozen=True, slots=True)
class Excursion:
    """Rows above a level, from the first to the one behind the last, and the level they stand on."""

    rows: Rows
    start_s: int
    end_s: int
    level_a: float
    texture: Texture

    def stands_out(self) -> bool:
        """Whether it is far more than its level's band."""
        most = float(np.max(self.rows.drain, initial=self.level_a))
        return most - self.level_a >= CLEAR_TIMES * self.texture.band_a(self.level_a)


@dataclass(frozen=True, slots=True)
class Step:
    """A lasting change of level: when, from, to (drain, A)."""

    at_s: int
    from_a: float
    to_a: float


@dataclass(slots=True)
class Open:
    """Rows of an excursion or fall that has not ended, the end of its last row, and the level it left."""

    start_s: int
    last_s: int
    level_a: float
    parts: list[Rows] = field(default_factory=list)


@dataclass(slots=True)
class TrackerState:
    """All the tracker remembers.

    unsure, waiting    rows read, and excursions found, against a level that is not established yet
    """

    frame: list[Rows] = field(default_factory=list)
    seek: list[Rows] = field(default_factory=list)
    held: Held | None = None
    above: Open | None = None
    below: Open | None = None
    stepping: tuple[int, float] | None = None
    unsure: list[Rows] = field(default_factory=list)
    waiting: list[Excursion] = field(default_factory=list)
    last_row: Rows = NONE
    charged_us: int = 0
    done: list[Held] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)


class PlateauTracker:
    """Reads the seconds of one stand; `update` returns the excursions that have ended."""

    def __init__(self, scale: float = 1.0) -> None:
        """`scale` from 12 V to this battery."""
        self.scale = scale
        self.state = TrackerState()

    def update(self, seconds: Seconds) -> list[Excursion]:
        """Excursions that ended in the frames these seconds completed."""
        rows, self.state.charged_us = Rows.of(seconds, self.scale, self.state.charged_us)
        ended: list[Excursion] = []
        if not len(rows):
            return ended
        frames = rows.second // FRAME_S
        cuts = [0, *(np.flatnonzero(np.diff(frames)) + 1).tolist(), len(rows)]
        waiting = self.state.frame
        for begin, end in itertools.pairwise(cuts):
            if waiting and int(waiting[-1].second[-1]) // FRAME_S != int(frames[begin]):
                ended += self._frame(Rows.join(waiting))
                waiting.clear()
            waiting.append(rows[begin:end])
        return ended

    def flush(self) -> list[Excursion]:
        """What the end of the stand or log leaves: the unfinished frame, and an excursion that is still open."""
        ended = self._last_frame()
        held = self.state.held
        if held is not None and held.known:
            self._close(held, None)
            ended += self.state.waiting
            self.state.waiting = []
        return ended

    def _last_frame(self) -> list[Excursion]:
        waiting, self.state.frame = self.state.frame, []
        if not waiting:
            return self._frame(self.state.seek.pop(), final=True) if self.state.seek else []
        return self._frame(Rows.join(waiting), final=True)

    def _frame(self, rows: Rows, final: bool = False) -> list[Excursion]:
        ended: list[Excursion] = []
        cuts = [0, *np.flatnonzero(rows.charged_us >= CHARGE_US).tolist(), len(rows)]
        for begin, end in itertools.pairwise(cuts):
            if begin < end and int(rows.charged_us[begin]) >= CHARGE_US:
                self._recharged()
            ended += self._piece(rows[begin:end], final)
        return ended

    def _recharged(self) -> None:
        """A charge has ended the plateau: behind it, a level is sought anew."""
        state = self.state
        if state.held is not None and state.held.known and len(state.done) < KEPT_PLATEAUS:
            state.done.append(state.held)
        state.held, state.above, state.below, state.stepping, state.last_row = None, None, None, None, NONE
        state.seek, state.unsure, state.waiting = [], [], []

    def _piece(self, rows: Rows, final: bool) -> list[Excursion]:
        state = self.state
        ended: list[Excursion] = []
        for _ in range(TURNS):
            if not len(rows):
                break
            rows = self._seek(rows, final) if state.held is None else self._hold_on(rows, state.held, ended)
        if len(rows):  # turn and turn about, seeking found a level that the rows then left
            state.seek = [Rows.join([*state.unsure, rows]) if state.held is not None else rows]
            state.held, state.above, state.below, state.unsure, state.waiting = None, None, None, [], []
        return ended

    def _seek(self, rows: Rows, final: bool) -> Rows:
        """Look for a level in all rows since the last one; returns the rows to read against it (none: keep seeking).

        At the end of a stand the last minutes may be the driver arriving: then the level before them is looked for.
        """
        state = self.state
        seen = Rows.join([*state.seek, rows])
        seen = seen[int(np.searchsorted(seen.second, int(seen.second[-1]) - SEEK_ROWS_S)) :]
        state.seek = [seen]
        plain = replace(seen, drain=without_spikes(seen.drain))
        for back_s in ARRIVALS_S if final else ARRIVALS_S[:1]:
            until = int(np.searchsorted(seen.second, int(seen.second[-1]) - back_s, "right"))
            found = find_level(plain[:until], seen.drain[:until])
            if found is not None:
                first, level, lift, texture = found
                start_s = int(seen.second[first])
                state.held = Held(start_s, start_s, level, texture, lift_a=lift)
                state.seek, state.unsure, state.waiting = [], [seen[:first]], []
                return seen[first:]
        return NONE

    def _hold_on(self, rows: Rows, held: Held, ended: list[Excursion]) -> Rows:
        """Read rows of many frames, which were sought in, frame by frame; returns the rows to read again."""
        cuts = [0, *(np.flatnonzero(np.diff(rows.second // FRAME_S)) + 1).tolist(), len(rows)]
        for begin, end in itertools.pairwise(cuts):
            again = self._hold(rows[begin:end], held, ended)
            if self.state.held is not held:
                return Rows.join([again, rows[end:]])
        return NONE

    def _hold(self, rows: Rows, held: Held, ended: list[Excursion]) -> Rows:
        """Read rows against the held level; returns the rows to read again when the level has stepped."""
        state = self.state
        if rows.gap.any():
            held.lows_a = []
        base, jumped = baseline(rows.drain, held)
        excess = rows.drain - base
        many = SPIKES_MANY if int(rows.count[len(rows) // 2]) > 1 else SPIKES_SINGLE
        if len(rows) < ENOUGH:  # a slow logger: judge by the last rows of earlier frames as well
            held.recent = [*held.recent, *excess.tolist()][-RECENT_ROWS:]
        sample = excess if len(rows) >= ENOUGH else np.array(held.recent)
        texture = texture_of(sample, held.texture.band_a(held.level_a), many) or held.texture
        held.texture = texture.after(held.texture)
        side = sides(excess, jumped, held.texture, held.level_a)
        if held.texture.noise_a * NOISE_TIMES < FLOAT_A:
            side[rows.drain < -FLOAT_A] = -1  # charge, however wide the band
        if held.end_s == held.start_s and side[0] > 0 and not side.all():  # what dies away is not yet the level
            tail = int(np.argmax(side <= 0))
            state.unsure.append(rows[:tail])
            held.start_s = held.end_s = int(rows.second[tail])
            rows, side, excess, base = rows[tail:], side[tail:], excess[tail:], base[tail:] if len(base) > 1 else base
        if len(base) > 1 and not side[-len(side) // MINUTES :].any():
            held.lows_a = held.lows_a[:0] if held.low_a is None else [held.low_a]
        again = NONE
        if side.any() or state.above or state.below or rows.gap.any():
            used, again = self._runs(rows, side, base, held)
            rows, side = rows[:used], side[:used]
        self._book(rows, excess[: len(rows)], side == 0, held)
        if len(base) > 1 and len(rows) == len(base):
            held.level_a = float(base[-1])
        if len(rows):
            state.last_row = rows[-1:]
        if state.held is held and not held.known:
            self._establish(rows, held)
        if held.known:
            ended += state.waiting
            state.waiting = []
        return again

    def _establish(self, rows: Rows, held: Held) -> None:
        """Keep the rows until the level is known to be no stage of a shutdown; then tell the step that led to it."""
        state = self.state
        state.unsure.append(rows)
        if not held.is_established():
            if sum(len(r) for r in state.unsure) > SEEK_ROWS_S:  # no level after all: bounded memory
                state.held, state.above, state.below, state.unsure, state.waiting = None, None, None, [], []
            return
        if state.stepping is not None:
            at_s, from_a = state.stepping
            least = STAYS_SHARE * narrow_a(held.texture.steady_a(from_a))
            if abs(held.mean_a() - from_a) > least and len(state.steps) < KEPT_PLATEAUS:
                state.steps.append(Step(at_s, from_a, held.mean_a()))
            self._woke_into(at_s, from_a, Rows.join(state.unsure), held)
        held.known, state.unsure = True, []
        state.stepping = None

    def _woke_into(self, at_s: int, from_a: float, rows: Rows, held: Held) -> None:
        """Tell the wake-up that ends in a higher level than it began from: what never went back to sleep."""
        lead = rows[: int(np.searchsorted(rows.second, held.start_s)) + 1]
        if len(lead) > 1 and held.level_a > from_a:
            over = lead.drain[:-1] - held.level_a > held.texture.band_a(held.level_a)
            if over.any():
                first, last = int(np.flatnonzero(over)[0]), int(np.flatnonzero(over)[-1])
                part = lead[first : last + 2]
                woke = Excursion(part, int(part.second[0]), int(part.second[-1]), held.level_a, held.texture)
                self.state.waiting.insert(0, woke)

    def _runs(self, rows: Rows, side: Ints, base: Floats, held: Held) -> tuple[int, Rows]:
        """Follow excursions and falls through the runs of one frame: rows used, and rows to read again."""
        state = self.state
        edges = np.flatnonzero((np.diff(side) != 0) | (rows.gap[1:] > 0)) + 1
        cuts = [0, *edges.tolist(), len(rows)]
        for begin, end in itertools.pairwise(cuts):
            kind, until_s = int(side[begin]), _end_s(rows, end)
            part = rows[begin:end]
            if part.gap[0] > 0 and kind <= 0:  # what stands above on both sides of a gap is one excursion
                self._close(held, None)
            if kind > 0:
                state.below = None
                if state.above is None:
                    lead = rows[begin - 1 : begin] if begin else state.last_row
                    state.above = Open(int(part.second[0]), until_s, float(base[min(begin, len(base) - 1)]))
                    state.above.parts += [lead] if len(lead) and part.gap[0] == 0 else []
                state.above.parts.append(part)
                state.above.last_s = until_s
                if until_s - state.above.start_s >= STEP_UP_S:
                    return self._stepped(state.above, held, rows, begin, end)
                continue
            if state.above is not None:
                quiet = until_s - state.above.last_s
                over = part.drain - base[min(begin, len(base) - 1)]
                if kind < 0 or self._is_over(state.above, held, quiet, float(np.mean(over))):
                    self._close(held, part)
                else:
                    state.above.parts.append(part)
            if kind < 0:
                if state.below is None:
                    state.below = Open(int(part.second[0]), until_s, held.level_a)
                state.below.parts.append(part)
                state.below.last_s = until_s
                if until_s - state.below.start_s >= STEP_DOWN_S and sum(len(p) for p in state.below.parts) > 2:
                    return self._stepped(state.below, held, rows, begin, end)
            elif state.below is not None:
                state.below.parts.append(part)
                if until_s - state.below.last_s >= CANCEL_S:
                    state.below = None
        return len(rows), NONE

    def _is_over(self, above: Open, held: Held, quiet_s: int, over_a: float) -> bool:
        """Whether rows in band, so long and so much over the level, end the excursion: one that dies away comes back.

        A single row ends one that stood out far to its last row.
        """
        band = held.texture.band_a(above.level_a)
        if float(np.min(above.parts[-1].drain[-3:])) - above.level_a >= CLEAR_TIMES * band:
            return quiet_s >= 1
        steady = held.texture.steady_a(above.level_a)  # rows' mean: single spikes, which widen the band, count little
        return quiet_s >= (TAIL_S if over_a > TAIL_SHARE * steady else RETURN_S)

    def _close(self, held: Held, behind: Rows | None) -> None:
        """End the open excursion at its last row above; the row behind it carries the end of its charge."""
        state = self.state
        if state.above is None:
            return
        parts = state.above.parts + ([behind[:1]] if behind is not None else [])
        end_s = state.above.last_s if behind is None else int(behind.second[0])
        found = Excursion(Rows.join(parts), state.above.start_s, end_s, state.above.level_a, held.texture)
        state.above = None
        fades = not held.known and found.start_s - held.start_s <= TAIL_S and not found.stands_out()
        if not fades:  # what little does, right behind the shutdown, is its end
            state.waiting.append(found)

    def _stepped(self, opened: Open, held: Held, rows: Rows, begin: int, end: int) -> tuple[int, Rows]:
        """The rows before `opened`, whose last run is rows[begin:end], are used; those from it on are read again."""
        used = int(np.searchsorted(rows.second[:begin], opened.start_s))
        return used, self._step(opened, held, rows[:begin], rows[end:])

    def _step(self, opened: Open, held: Held, read: Rows, rest: Rows) -> Rows:
        """The level has stepped where `opened` began: end the plateau there and seek anew from there.

        `read` are the rows of this frame before the last run, `rest` those behind it.
        """
        state = self.state
        held.end_s = min(held.end_s, opened.start_s) if held.end_s > held.start_s else opened.start_s
        rows = Rows.join([*opened.parts, rest])
        rows = rows[int(np.searchsorted(rows.second, opened.start_s)) :]
        if held.known:
            if len(state.done) < KEPT_PLATEAUS:
                state.done.append(held)
            state.stepping = (opened.start_s, held.mean_a())
        else:  # it was no level: read all since the last one again
            before = Rows.join([*state.unsure, read])
            rows = Rows.join([before[: int(np.searchsorted(before.second, opened.start_s))], rows])
            state.waiting = []
        state.held, state.above, state.below, state.seek, state.unsure = None, None, None, [], []
        return rows

    def _book(self, rows: Rows, excess: Floats, inside: Bools, held: Held) -> None:
        """Book the in-band rows of a frame and let the level follow them."""
        n = int(np.count_nonzero(inside))
        if not n:
            return
        part = slice(None) if n == len(inside) else inside
        weights = rows.observed_us[part].astype(np.float64)
        total = float(weights.sum())
        if not total:
            weights, total = np.ones(n), float(n)
        mean = float((rows.drain[part] * weights).sum()) / total
        held.add(mean, total / SECOND_US, float(np.mean(rows.volts[part])))
        held.now_a = mean if held.now_a is None else held.now_a + (mean - held.now_a) * n / (n + FOLLOW_ROWS)
        over = excess[part]
        lift = float((over * weights).sum()) / total - float(np.partition(over, n // 4)[n // 4])
        held.lift_a += (lift - held.lift_a) * n / (n + FOLLOW_ROWS)
        if len(rows) < MINUTES * DRIFT_ROWS:
            held.level_a += (mean - held.level_a) * n / (n + FOLLOW_ROWS)
        held.end_s = _end_s(rows, int(np.flatnonzero(inside)[-1]) + 1)


def _end_s(rows: Rows, end: int) -> int:
    """When the row before `end` ends: at the next row, or a second later."""
    return int(rows.second[end - 1]) + 1
