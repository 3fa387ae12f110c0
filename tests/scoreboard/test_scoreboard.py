"""The engine on logs it was never tuned on: the seeds come from the date, so that each day brings new ones.

The bars are what the engine was measured to reach (measured.py), with a margin by which a whole run fails by chance
less than once in a thousand days; what is asked of each figure, and how much of it is reached, is in DEVELOPERS.md.
A failure names its seed and the worst logs; `python -m tests.scoreboard --seed N --rates R` shows the tables of them.
"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from functools import cache

import pytest

from monitor.simulate.draws import CAUSES
from tests.scoreboard.bars import most_missed
from tests.scoreboard.figures import BY_NAME
from tests.scoreboard.measured import FALSE_LOGS, MEASURED
from tests.scoreboard.score import Score, total
from tests.scoreboard.table import measured, worst
from tests.scoreboard.trial import HEALTHY_AFTER, Trial, attempts, days_at

SEED = datetime.now(UTC).date().toordinal() * 1000
HEALTHY_SEED = SEED + HEALTHY_AFTER
LOGS = {1.0: 48, 10.0: 32}  # at each rate
HEALTHY_LOGS = 15  # of two days: 30 vehicle-days
JUDGED = [(rate, name) for rate in LOGS for name in MEASURED[rate]]
BEATS_THE_SCRIPT = ("borders", "settled_at", "time_to_sleep", "sleep_current", "wake_ups", "cranks", "stand_charge_out")


@cache
def logs_of(rate_hz: float) -> list[Trial]:
    return list(attempts(SEED, LOGS[rate_hz], rate_hz, days_at(rate_hz)))


@cache
def healthy_logs() -> list[Trial]:
    return list(attempts(HEALTHY_SEED, HEALTHY_LOGS, 1.0, days_at(1.0), ("healthy",)))


def test_every_cause_is_among_the_logs() -> None:
    for rate in LOGS:
        assert {trial.cause for trial in logs_of(rate)} == set(CAUSES)


@pytest.mark.parametrize(("rate_hz", "name"), JUDGED)
def test_no_more_logs_miss_the_figure_than_when_it_was_measured(rate_hz: float, name: str) -> None:
    trials = logs_of(rate_hz)
    now = measured(trials).get(name)
    if now is None:
        pytest.skip("nothing to judge in today's logs")
    bar = most_missed(MEASURED[rate_hz][name], now.judged, len(JUDGED) + 1)
    assert now.missed <= bar, (
        f"{BY_NAME[name].label}: {now.missed} of {now.judged} logs miss what is asked ({BY_NAME[name].asked}), "
        f"more than {bar}; --seed {SEED} --scenarios {LOGS[rate_hz]} --rates {rate_hz:g}\n{worst(trials)}"
    )


@pytest.mark.parametrize("name", BEATS_THE_SCRIPT)
def test_the_engine_does_better_than_fixed_thresholds(name: str) -> None:
    trials = logs_of(1.0)
    engine, script = (
        total(side[name] for side in sides) for sides in zip(*((t.engine, t.script) for t in trials), strict=True)
    )
    figure = BY_NAME[name]
    ours, theirs = ((s.f1 if figure.kind == "events" else s.within) for s in (engine, script))
    assert ours > theirs, f"--seed {SEED}: {figure.text(engine)} against {figure.text(script)}"


def test_thirty_days_of_healthy_vehicles_bring_no_more_false_findings_than_when_measured() -> None:
    logs = healthy_logs()
    bad = [trial for trial in logs if sum(trial.false.values())]
    bar = most_missed(FALSE_LOGS, len(logs), len(JUDGED) + 1)
    counts: Counter[str] = sum((Counter(trial.false) for trial in bad), Counter())
    assert len(bad) <= bar, f"{len(bad)} logs, more than {bar}: {dict(counts)}; seeds {[t.seed for t in bad]} at 1 Hz"


def test_healthy_vehicles_bring_no_false_crank_fault_or_notice() -> None:
    counts: Counter[str] = sum((Counter(trial.false) for trial in healthy_logs()), Counter())
    assert not {"faults", "notices"} & set(counts), f"{dict(counts)}; --seed {HEALTHY_SEED} --causes healthy --rates 1"


def test_a_blind_engine_would_not_pass() -> None:
    """The plain script in the engine's place misses the bars of most figures."""
    trials = logs_of(1.0)
    failed = 0
    for name, then in MEASURED[1.0].items():
        kept = [BY_NAME[name].kept(trial.script.get(name, Score())) for trial in trials]
        judged = [one for one in kept if one is not None]
        failed += judged.count(False) > most_missed(then, len(judged), len(JUDGED) + 1)
    assert failed >= len(MEASURED[1.0]) // 2
