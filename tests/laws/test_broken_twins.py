"""Each law is asked of a small detector that breaks it: the check must refuse it, and pass its honest brother."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from monitor.base.ledger import Ledger
from monitor.base.samples import Block
from monitor.detect import Engine
from monitor.detect.seconds import Binner
from tests.laws.contract import BrokenLawError, check_bounded, check_cut, check_pure, check_resume
from tests.laws.logs import Life, busy, busy_life
from tests.laws.subjects import OfBinner, OfEngine, OfSeconds

LOG = busy(1.0)
LONG = Life(1.0).spend(20_000, 12.6, -0.02).done("a long stand")
SHORT = Life(1.0).spend(2_000, 12.6, -0.02).done("a short stand")


@dataclass
class SumState:
    drain: int = 0
    last: float = 0.0


class HonestSum:
    """Integers, so that the cut does not matter."""

    def __init__(self) -> None:
        self.state = SumState()

    def update(self, seconds):
        self.state.drain += int(np.rint(np.nan_to_num(seconds.amps) * 1e6).astype(np.int64).sum())

    def result(self):
        return self.state.drain


@dataclass
class FloatState:
    drain: float = 0.0


class SumOfChunks(HonestSum):
    """Breaks the cut law: sums per chunk in floats, then adds."""

    def __init__(self) -> None:
        self.state = FloatState()

    def update(self, seconds):
        self.state.drain += float(np.nan_to_num(seconds.amps).sum())


class MeanOfChunks(HonestSum):
    """Breaks the cut law: what it tells depends on how much came at once."""

    def update(self, seconds):
        if len(seconds):
            self.state.last = float(np.nanmax(seconds.volts) - np.nanmin(seconds.volts))

    def result(self):
        return self.state.last


class Forgetful(HonestSum):
    """Breaks the resume law: remembers beside its state."""

    def __init__(self) -> None:
        super().__init__()
        self.beside = 0

    def update(self, seconds):
        self.beside += len(seconds)

    def result(self):
        return self.beside


class Meddling(HonestSum):
    """Breaks purity: being asked changes what it says next."""

    def result(self):
        self.state.drain += 1
        return self.state.drain


@dataclass
class KeptState:
    volts: list[float] = field(default_factory=list)


class Hoarder(HonestSum):
    """Breaks the bound: keeps every second."""

    def __init__(self) -> None:
        self.state = KeptState()

    def update(self, seconds):
        self.state.volts += seconds.volts.tolist()

    def result(self):
        return len(self.state.volts)


def subject_of(broken):
    class OfTwin(OfSeconds):
        kind = broken

        def make(self):
            return broken()

        def saved(self):
            import json

            from monitor.base.state import to_plain

            return json.dumps({"": to_plain(vars(self.detector.state))})

        def resume(self, saved):
            import json

            from monitor.base.state import from_plain

            self.detector = self.make()
            for name, value in from_plain(json.loads(saved)[""]).items():
                setattr(self.detector.state, name, value)

        def says(self, detector):
            return detector.result()

    return OfTwin


CUTS = [17, 400, 401, 1033, 2222]


def test_the_honest_twin_keeps_every_law():
    honest = subject_of(HonestSum)
    check_cut(honest, LOG, CUTS)
    check_resume(honest, LOG, CUTS)
    check_pure(honest, LOG)
    check_bounded(honest, SHORT, LONG, rest_bytes=20, piece=500)


@pytest.mark.parametrize("twin", [SumOfChunks, MeanOfChunks])
def test_the_cut_law_refuses_what_depends_on_the_cut(twin):
    with pytest.raises(BrokenLawError, match="cut at"):
        check_cut(subject_of(twin), LOG, CUTS)


def test_the_resume_law_refuses_memory_beside_the_state():
    check_cut(subject_of(Forgetful), LOG, CUTS)
    with pytest.raises(BrokenLawError, match="resumed"):
        check_resume(subject_of(Forgetful), LOG, CUTS)


def test_asking_must_not_change_the_answer():
    with pytest.raises(BrokenLawError, match="asked twice"):
        check_pure(subject_of(Meddling), LOG)


def test_the_bound_refuses_what_keeps_every_second():
    with pytest.raises(BrokenLawError, match="bytes after"):
        check_bounded(subject_of(Hoarder), SHORT, LONG, rest_bytes=5_000, piece=500)


class ForgetsWhatWaits(OfEngine):
    """Breaks the resume law as an engine: the unfinished second is lost when it is restored."""

    def resume(self, saved):
        super().resume(saved)
        self.detector.binner.state.pending = Block(np.empty(0, np.int64), np.empty(0))


def test_the_resume_law_refuses_an_engine_that_loses_its_unfinished_second():
    fast = busy_life(10.0).done("busy at 10 Hz")
    with pytest.raises(BrokenLawError):
        check_resume(ForgetsWhatWaits, fast, [4_005, 9_999])


class BlockByBlock(OfBinner):
    """Breaks the cut law as a binner: arrival packets reach the arithmetic."""

    def feed(self, begin, end):
        super().feed(begin, end)
        self.told.append(self.detector.flush())


def test_the_cut_law_refuses_seconds_that_follow_the_packets():
    fast = Life(10.0).spend(30, 12.6, -0.02).done("fast")
    with pytest.raises(BrokenLawError):
        check_cut(BlockByBlock, fast, [55, 57])


class FillsGaps(Binner):
    """Breaks the gap law: puts zeros where the logger was silent."""

    def update(self, block):
        if len(block) > 1:
            steps = np.diff(block.t_us)
            at = int(np.argmax(steps))
            n = int(steps[at] // 1_000_000) - 1
            if n > 5:
                t = block.t_us[at] + 1_000_000 * np.arange(1, n + 1)
                k, zero = at + 1, np.zeros(n)
                volts, amps = np.insert(block.volts, k, zero), np.insert(block.amps, k, zero)
                block = Block(np.insert(block.t_us, k, t), volts, amps)
        return super().update(block)


def told_by(binner):
    engine = Engine(LOG.facts)
    engine.binner = binner
    return engine.document(engine.update(LOG.block), Ledger())


def test_the_checks_of_gaps_see_zeros_and_charge_across():
    from tests.laws.slow import slow_charge_nc
    from tests.laws.test_gaps import all_volts

    honest, out_nc = told_by(Binner()), slow_charge_nc(LOG.block)[1]

    def counted(found):
        return sum(p.charge_out_ah or 0.0 for p in (*found.stands, *found.drives)) * 3.6e12

    def lowest(found):
        return min(v for v in all_volts(found) if v is not None)

    assert counted(honest) == pytest.approx(out_nc, abs=1)
    assert lowest(honest) >= LOG.block.volts.min() - 0.0025
    across, filled = told_by(Binner(gap_s=1e9)), told_by(FillsGaps())
    assert counted(across) > out_nc + 1e9
    assert across.log.unobserved_s == 0
    assert filled.log.unobserved_s == 0
    assert filled.model_dump_json() != honest.model_dump_json()
