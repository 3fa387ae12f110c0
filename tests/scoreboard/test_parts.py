"""The scoreboard's own parts: what it must notice, on results made from the truth with one thing wrong."""

from collections.abc import Callable
from math import isnan

import numpy as np
import pytest

from monitor.base.results import Crank, Drive, LevelStep, Result, Stand, WakeUp
from monitor.base.samples import SECOND_US
from monitor.simulate import Simulation, run
from monitor.simulate.draws import draw_scenario
from tests.scoreboard.bars import Measured, most_missed
from tests.scoreboard.figures import BY_NAME, FIGURES
from tests.scoreboard.matching import match
from tests.scoreboard.score import Score, of_errors, total
from tests.scoreboard.scores import Scores, score
from tests.scoreboard.sight import Sight, spread_asleep_a

SEED = 21  # a healthy vehicle with wake-ups, seen at 1 Hz for a day


@pytest.fixture(scope="module")
def simulation() -> Simulation:
    done = run(draw_scenario(SEED, "healthy", rate_hz=1.0, days=1.0))
    assert any(Sight.of(done).owes_wake_up(w) for s in done.truth.stands for w in s.wake_ups)
    assert done.truth.drives
    return done


def scored(simulation: Simulation, spoil: Callable[[Result], None]) -> Scores:
    """Scores of the truth itself, with one thing changed; its volts_min is no reading of the log and left out."""
    found = simulation.truth.model_copy(deep=True)
    spoil(found)
    return score(simulation, found, list(simulation.blocks(65536)))


def missing(scores: Scores) -> set[str]:
    """Figures that are not kept, the lowest reading left out: the truth is no reading."""
    return {name for name, one in scores.items() if BY_NAME[name].kept(one) is False} - {"crank_volts_min"}


def nothing(_: Result) -> None:
    pass


def drive_late(result: Result) -> None:
    for part in [d for d in result.drives if d.start == result.drives[0].start]:
        part.start += 20 * SECOND_US


def drive_invented(result: Result) -> None:
    extra = result.drives[0].model_copy(deep=True)
    extra.start += 40 * SECOND_US
    extra.crank = None
    result.drives.append(extra)


def settled_late(result: Result) -> None:
    for stand in result.stands:
        if stand.settled_at is not None and stand.time_to_sleep_s is not None:
            stand.settled_at += int((60 + stand.time_to_sleep_s) * SECOND_US)


def never_slept(result: Result) -> None:
    for stand in result.stands:
        stand.time_to_sleep_s = None


def level_high(result: Result) -> None:
    for stand in result.stands:
        if stand.sleep_current_a is not None:
            stand.sleep_current_a += 0.002


def wake_missed(result: Result) -> None:
    for stand in result.stands:
        stand.wake_ups = stand.wake_ups[::2]


def wake_invented(result: Result) -> None:
    stand = max(result.stands, key=lambda s: (s.end or 0) - s.start)
    at = (stand.settled_at or stand.start) + 1111 * SECOND_US
    wake = WakeUp(start=at, end=at + SECOND_US, peak_a=1.0, excess_a=1.0, charge_ah=1e-3)
    stand.wake_ups += [
        wake.model_copy(update={"start": at + k * 23 * SECOND_US, "end": wake.end + k * 23 * SECOND_US})
        for k in range(30)
    ]


def wake_charge_double(result: Result) -> None:
    for stand in result.stands:
        for wake in stand.wake_ups:
            wake.charge_ah *= 2


def step_invented(result: Result) -> None:
    stand = result.stands[0]
    stand.level_steps.append(LevelStep(at=stand.start + 3600 * SECOND_US, from_a=0.01, to_a=0.05))


def crank_lost(result: Result) -> None:
    for drive in result.drives:
        drive.crank = None


def crank_invented(result: Result) -> None:
    stand = result.stands[0]
    stand.failed_starts.append(Crank(start=stand.start + 1800 * SECOND_US, duration_s=1.0, volts_min=9.0))


def crank_long(result: Result) -> None:
    for drive in result.drives:
        if drive.crank is not None and drive.crank.duration_s is not None:
            drive.crank.duration_s += 5.0


def charge_wrong(result: Result) -> None:
    parts: list[Stand | Drive] = [*result.stands, *result.drives]
    for part in parts:
        part.charge_in_ah = None if part.charge_in_ah is None else 1.2 * part.charge_in_ah
        part.charge_out_ah = None if part.charge_out_ah is None else 1.2 * part.charge_out_ah + 0.05


def fault_invented(result: Result) -> None:
    result.drives[0].charging.faults = ["overvoltage"]


def regulation_wrong(result: Result) -> None:
    for drive in result.drives:
        drive.charging.regulation = "managed" if drive.charging.regulation != "managed" else "fixed"


def test_the_truth_itself_keeps_every_figure(simulation: Simulation) -> None:
    assert missing(scored(simulation, nothing)) == set()


@pytest.mark.parametrize(
    ("spoil", "figure"),
    [
        (drive_late, "borders"),
        (drive_invented, "borders"),
        (settled_late, "settled_at"),
        (never_slept, "time_to_sleep"),
        (level_high, "sleep_current"),
        (wake_missed, "wake_ups"),
        (wake_invented, "wake_ups"),
        (wake_charge_double, "wake_charge"),
        (step_invented, "level_steps"),
        (crank_lost, "cranks"),
        (crank_invented, "failed_starts"),
        (charge_wrong, "stand_charge_out"),
        (charge_wrong, "drive_charge_in"),
        (charge_wrong, "drive_charge_out"),
        (fault_invented, "faults"),
        (regulation_wrong, "regulation"),
    ],
    ids=lambda value: value if isinstance(value, str) else value.__name__,
)
def test_a_figure_notices_what_it_is_for(simulation: Simulation, spoil: Callable[[Result], None], figure: str) -> None:
    assert figure in missing(scored(simulation, spoil))


def test_a_crank_told_too_long_is_noticed_where_the_rate_carries_its_length() -> None:
    fast = run(draw_scenario(SEED, "healthy", rate_hz=10.0, days=0.6))
    assert "crank_length" in missing(scored(fast, crank_long))
    assert "crank_length" not in missing(scored(fast, nothing))


def test_every_score_has_its_figure(simulation: Simulation) -> None:
    names = set(scored(simulation, nothing)) | {"settled_in_hours"}
    assert names == {figure.name for figure in FIGURES}


def test_nothing_to_judge_is_nan_and_no_zero() -> None:
    empty = total([])
    assert all(isnan(x) for x in (empty.f1, empty.recall, empty.precision, empty.within, empty.error(0.5)))
    assert BY_NAME["borders"].kept(empty) is None


def test_a_figure_that_was_not_told_counts_as_wrong() -> None:
    assert of_errors([(0.0, 1.0)], missed=1).within == 0.5


def test_an_error_that_is_nan_is_not_allowed() -> None:
    assert of_errors([(float("nan"), 1.0)]).off == 1


def test_no_event_is_used_twice_and_the_nearest_go_together() -> None:
    rng = np.random.default_rng(5)
    for _ in range(50):
        truth = sorted(rng.integers(0, 100, 8).tolist())
        found = sorted(rng.integers(0, 100, 9).tolist())
        done = match(truth, found, 7, int, int)
        assert sorted([a for a, _ in done.pairs] + done.missed) == truth
        assert sorted([b for _, b in done.pairs] + done.invented) == found
        assert all(abs(a - b) <= 7 for a, b in done.pairs)
        assert all(abs(a - b) > 7 for a in done.missed for b in done.invented)


def test_scores_add_up() -> None:
    parts = [Score(1, 2, 3, (0.1,), 1), Score(4, 0, 0, (0.2,), 0)]
    assert total(parts) == parts[0] + parts[1] == Score(5, 2, 3, (0.1, 0.2), 1)


def test_the_spread_of_readings_asleep_is_that_of_the_simulated_log() -> None:
    """Within 30 %: pulses are no normal noise, and they beat with the sampling."""
    for seed in range(40, 52):
        scenario = draw_scenario(seed, "healthy", rate_hz=1.0, days=0.5)
        done = run(scenario)
        stand = done.truth.stands[0]
        end = stand.wake_ups[0].start if stand.wake_ups else Sight.of(done).asleep_until(stand)
        block = next(done.blocks(10**7))
        assert block.amps is not None
        part = block.amps[: int(np.searchsorted(block.t_us, end)) - 2]
        if len(part) > 1000:
            drift = np.convolve(part, np.ones(201) / 201, "same")[200:-200]
            assert float(np.std(part[200:-200] - drift)) == pytest.approx(spread_asleep_a(scenario), rel=0.3), seed


def test_a_bar_grows_with_what_was_measured_and_never_allows_everything_that_was_good() -> None:
    bars = [most_missed(Measured(missed, 200), logs=24, figures=20) for missed in (0, 5, 20, 100)]
    assert bars == sorted(bars)
    assert bars[0] <= 4


def test_a_bar_fails_less_than_once_in_a_thousand_runs() -> None:
    """Simulated: the share is as uncertain as its measurement, 24 new logs miss by it, twenty figures a run."""
    rng = np.random.default_rng(7)
    bar = most_missed(Measured(10, 100), logs=24, figures=20)
    share = rng.beta(10 + 0.5, 90 + 0.5, size=(50_000, 20))
    runs = rng.binomial(24, share).max(axis=1)
    assert np.count_nonzero(runs > bar) <= 50 + 3 * 50**0.5  # 50,000 / 1000, and three times its spread
