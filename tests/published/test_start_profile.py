"""Cranks: the supply-voltage profile at engine start of ISO 16750-2:2023, clause 4.6.3 (numbers as in 2010 and 2012).

From a public tabulation of the standard's figures, not from its text. These are immunity profiles for equipment, not
limits of a battery's health; here they are logs of a starter turning. The current is derived: a source of the base
voltage behind 20 mΩ (our choice: a battery and its cables), so ΔV/ΔI must give those 20 mΩ back.

The 2 Hz ripple on the plateau has no printed size here; ±0.2 V, the profile's own tolerance, is ours. Between the
table's points the volts run straight.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from monitor.base.results import Crank, Result
from monitor.base.samples import SECOND_US, Block, Floats
from monitor.detect import Facts
from tests.published.traces import T0_S, replayed

SOURCE_OHM = 0.020
RIPPLE_V, RIPPLE_HZ = 0.2, 2.0
BEFORE_S, AFTER_S = 60, 120
FALLS_SHARE = 0.25  # the program calls a starter turning while the dip is deeper than about this share


@dataclass(frozen=True)
class Level:
    """Volts of dip and plateau; seconds of fall, dip, rise to the plateau, plateau, and rise to the base."""

    name: str
    base_v: float
    dip_v: float
    plateau_v: float
    fall_s: float
    dip_s: float
    to_plateau_s: float
    plateau_s: float
    rise_s: float

    @property
    def turning_s(self) -> float:
        return self.dip_s + self.to_plateau_s + self.plateau_s

    def points(self) -> tuple[Floats, Floats]:
        steps = [self.fall_s, self.dip_s, self.to_plateau_s, self.plateau_s, self.rise_s]
        volts = [self.base_v, self.dip_v, self.dip_v, self.plateau_v, self.plateau_v, self.base_v]
        return np.concatenate([[0.0], np.cumsum(steps)]), np.array(volts)


LEVELS = [
    Level("12 V I", 12, 8.0, 9.5, 0.005, 0.015, 0.050, 1, 0.040),
    Level("12 V II", 12, 4.5, 6.5, 0.005, 0.015, 0.050, 10, 0.100),
    Level("12 V III", 12, 3.0, 5.0, 0.005, 0.015, 0.050, 1, 0.100),
    Level("12 V IV", 12, 6.0, 6.5, 0.005, 0.015, 0.050, 10, 0.100),
    Level("24 V I", 24, 10, 20, 0.010, 0.050, 0.050, 1, 0.040),
    Level("24 V II", 24, 8, 15, 0.010, 0.050, 0.050, 10, 0.100),
    Level("24 V III", 24, 6, 10, 0.010, 0.050, 0.050, 1, 0.040),
]
every_level = pytest.mark.parametrize("level", LEVELS, ids=lambda level: level.name)


def log_of(level: Level, hz: float, amps: bool, cycles: int = 1, started: bool = False) -> Block:
    """The profile, `cycles` times 2 s apart, behind a minute at the base voltage; then the base, or a running engine.

    The first dip begins between two samples, so that the sampling favours no point of it.
    """
    at, volts = level.points()
    length_s = at[-1] + 2.0
    t = np.arange(0, BEFORE_S + cycles * length_s + AFTER_S, 1 / hz)
    since = t - BEFORE_S - 0.0043
    cycle = np.clip(since // length_s, 0, cycles - 1)
    within = since - cycle * length_s
    u = np.interp(within, at, volts)
    plateau = (within > at[3]) & (within < at[4])
    u[plateau] += RIPPLE_V * np.sin(2 * np.pi * RIPPLE_HZ * (within[plateau] - at[3]))
    current = (u - level.base_v) / SOURCE_OHM
    if started:
        running = since > (cycles - 1) * length_s + at[-1] + 0.5
        u[running], current[running] = level.base_v * 1.19, 8.0
    return Block(T0_S * SECOND_US + np.round(t * SECOND_US).astype(np.int64), u, current - 0.02 if amps else None)


def found_in(level: Level, block: Block) -> Result:
    return replayed(block, Facts(nominal_v=level.base_v))


def only_crank(found: Result) -> Crank:
    cranks = [c for stand in found.stands for c in stand.failed_starts] + [d.crank for d in found.drives if d.crank]
    assert len(cranks) == 1
    return cranks[0]


@every_level
@pytest.mark.parametrize("hz", [1000.0, 100.0])
def test_the_profile_is_one_crank_with_its_minimum_and_length(level: Level, hz: float) -> None:
    crank = only_crank(found_in(level, log_of(level, hz, amps=True)))
    assert crank.sampled_hz == pytest.approx(hz, rel=0.01)
    assert crank.volts_before == pytest.approx(level.base_v, abs=1e-6)
    # the dip lasts 15 ms or more: at 100 Hz and above a sample lies in it, and volts are straight there
    assert crank.volts_min == pytest.approx(level.dip_v, abs=1e-6)
    # begins within the fall, ends within the rise to base, each told to a sample
    assert crank.duration_s is not None
    assert level.turning_s - 1 / hz <= crank.duration_s <= level.turning_s + level.fall_s + level.rise_s + 2 / hz
    assert crank.start / SECOND_US - T0_S - BEFORE_S == pytest.approx(0.0043, abs=level.fall_s + 1 / hz)


@every_level
def test_current_and_resistance_are_those_of_the_source(level: Level) -> None:
    crank = only_crank(found_in(level, log_of(level, 100.0, amps=True)))
    # the dip is the inrush; the source is linear, so any part of the plateau gives its resistance
    assert crank.amps_peak == pytest.approx(-(level.base_v - level.dip_v) / SOURCE_OHM - 0.02, abs=0.1)
    # a median over whole seconds of a symmetric ripple: the plateau but for the ripple's curvature
    assert crank.amps_plateau == pytest.approx(
        -(level.base_v - level.plateau_v) / SOURCE_OHM, abs=0.3 * RIPPLE_V / SOURCE_OHM
    )
    assert crank.resistance_mohm == pytest.approx(1000 * SOURCE_OHM, rel=0.01)


@every_level
def test_a_profile_behind_which_an_engine_runs_is_a_start(level: Level) -> None:
    found = found_in(level, log_of(level, 100.0, amps=True, started=True))
    assert len(found.drives) == 1
    assert found.drives[0].crank is not None
    assert [s.failed_starts for s in found.stands] == [[]]


@every_level
def test_a_profile_behind_which_nothing_runs_is_a_failed_start(level: Level) -> None:
    found = found_in(level, log_of(level, 100.0, amps=True))
    assert found.drives == []
    assert len(found.stands) == 1
    assert len(found.stands[0].failed_starts) == 1


@every_level
@pytest.mark.parametrize("started", [False, True], ids=["failed", "started"])
def test_volts_alone_show_the_same_crank(level: Level, started: bool) -> None:
    crank = only_crank(found_in(level, log_of(level, 100.0, amps=False, started=started)))
    assert crank.volts_min == pytest.approx(level.dip_v, abs=1e-6)
    # the dip of 24 V I is deeper than its plateau by so much that the plateau is no more than `FALLS_SHARE` of it
    shares = (level.base_v - level.plateau_v) / (level.base_v - level.dip_v)
    assert shares > FALLS_SHARE
    assert crank.duration_s is not None
    assert level.turning_s - 0.01 <= crank.duration_s <= level.turning_s + level.fall_s + level.rise_s + 0.02
    assert crank.amps_peak is None
    assert crank.resistance_mohm is None


@every_level
@pytest.mark.parametrize("hz", [10.0, 1.0])
def test_a_slow_logger_sees_the_plateau_and_not_the_dip(level: Level, hz: float) -> None:
    # trade rule: sampling at 1 Hz misses the dip. What is told lies between the dip and the plateau's ripple, and
    # the length is known to a sample at each end.
    crank = only_crank(found_in(level, log_of(level, hz, amps=True)))
    assert crank.volts_min is not None
    assert level.dip_v - 1e-6 <= crank.volts_min <= level.plateau_v + RIPPLE_V
    if crank.duration_s is not None:
        assert crank.duration_s == pytest.approx(level.turning_s, abs=1 / hz + level.fall_s + level.rise_s)


def test_ten_cycles_two_seconds_apart_are_ten_failed_starts() -> None:
    # the standard's own course: ten cycles with 2 s of recovery
    level = LEVELS[0]
    found = found_in(level, log_of(level, 100.0, amps=True, cycles=10))
    assert found.drives == []
    starts = [crank.start / SECOND_US for crank in found.stands[0].failed_starts]
    at, _ = level.points()
    assert np.diff(starts) == pytest.approx(at[-1] + 2.0, abs=0.02)
    assert len(starts) == 10


def test_a_start_after_nine_failed_ones_is_told_apart() -> None:
    level = LEVELS[0]
    found = found_in(level, log_of(level, 100.0, amps=True, cycles=10, started=True))
    assert len(found.stands[0].failed_starts) == 9
    assert len(found.drives) == 1
    assert found.drives[0].crank is not None


def test_the_profile_keeps_the_tables_figures() -> None:
    # the oracle itself, level I: 8.0 V for 15 ms, 9.5 V for a second, 1.11 s in all
    at, volts = LEVELS[0].points()
    assert at[-1] == pytest.approx(1.110)
    assert volts.tolist() == [12, 8.0, 8.0, 9.5, 9.5, 12]
