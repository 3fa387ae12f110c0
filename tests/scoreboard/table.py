"""The table: figures by rate beside the plain script's, the same by cause, what was kept, and the worst logs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from monitor.simulate.draws import CAUSES
from tests.scoreboard.bars import Measured
from tests.scoreboard.figures import BY_NAME, FIGURES, number, percent
from tests.scoreboard.score import Score, total
from tests.scoreboard.scores import Scores
from tests.scoreboard.sight import LEGEND
from tests.scoreboard.trial import Trial

BY_CAUSE = ("borders", "settled_at", "sleep_current", "level_steps", "wake_ups", "wake_charge", "cranks", "faults")
WORST = 6  # logs named for each figure and rate


def tables(trials: Sequence[Trial]) -> str:
    """All tables, as Markdown."""
    rates = sorted({trial.rate_hz for trial in trials})
    parts = [_by_rate(trials, rates), _kept(trials, rates), _false(trials, rates)]
    parts += [_by_cause([t for t in trials if t.rate_hz == rate], rate) for rate in rates]
    parts.append("How the figures are taken:\n\n" + "\n".join(f"- {line}" for line in LEGEND))
    return "\n\n".join(parts)


def measured(trials: Iterable[Trial]) -> dict[str, Measured]:
    """Of each figure, how many logs did not keep it."""
    found: dict[str, Measured] = {}
    judged: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    for trial in trials:
        for name, score in trial.engine.items():
            kept = BY_NAME[name].kept(score)
            judged[name] += kept is not None
            missed[name] += kept is False
    for figure in FIGURES:
        if judged[figure.name]:
            found[figure.name] = Measured(missed[figure.name], judged[figure.name])
    return found


def worst(trials: Sequence[Trial]) -> str:
    """The logs to look at: for each figure and rate, those that miss it by most."""
    lines = []
    for rate in sorted({trial.rate_hz for trial in trials}):
        for figure in FIGURES:
            bad = [t for t in trials if t.rate_hz == rate and figure.kept(t.engine.get(figure.name, Score())) is False]
            bad.sort(key=lambda t: -_wrong(t.engine[figure.name]))
            if bad:
                names = (f"{t.cause} {t.seed} ({_wrong(t.engine[figure.name])})" for t in bad[:WORST])
                lines.append(f"{rate:g} Hz, {figure.label}: {len(bad)} logs; {', '.join(names)}")
    return "\n".join(lines)


def _wrong(score: Score) -> int:
    return score.missed + score.invented + score.off


def _by_rate(trials: Sequence[Trial], rates: Sequence[float]) -> str:
    head = ["figure", "asked"]
    columns: list[Callable[[Trial], Scores]] = [lambda t: t.engine, lambda t: t.script]
    head += [f"{rate:g} Hz" for rate in rates] + [f"script, {rate:g} Hz" for rate in rates if rate in (1.0, 10.0)]
    rows = []
    for figure in FIGURES:
        cells = [figure.label, figure.asked]
        for side, which in zip(columns, (rates, [r for r in rates if r in (1.0, 10.0)]), strict=True):
            for rate in which:
                scores = [side(t).get(figure.name, Score()) for t in trials if t.rate_hz == rate]
                cells.append(figure.text(total(scores)))
        rows.append(cells)
    count = Counter(t.rate_hz for t in trials)
    days = {rate: sum(t.days for t in trials if t.rate_hz == rate) for rate in rates}
    logs = ", ".join(f"{count[rate]} at {rate:g} Hz ({days[rate]:g} vehicle-days)" for rate in rates)
    notes = (
        f"Logs: {logs}; first seed {min(t.seed for t in trials)}. Events: F1 (found, −missed +invented). Errors: share "
        "allowed (median/95th percentile of the error; none: no figure told). `nan`: nothing to judge. The script's "
        "`settled_at, shared hours` is ruptures."
    )
    return notes + "\n\n" + _markdown(head, rows)


def _kept(trials: Sequence[Trial], rates: Sequence[float]) -> str:
    rows = []
    by_rate = {rate: measured(t for t in trials if t.rate_hz == rate) for rate in rates}
    for figure in FIGURES:
        cells = [figure.label]
        for rate in rates:
            one = by_rate[rate].get(figure.name)
            cells.append("nan" if one is None else f"{one.judged - one.missed} of {one.judged}")
        if figure.least is not None:
            rows.append(cells)
    return "Logs that keep the figure as asked in every event:\n\n" + _markdown(
        ["figure", *(f"{r:g} Hz" for r in rates)], rows
    )


def _false(trials: Sequence[Trial], rates: Sequence[float]) -> str:
    rows = []
    for rate in rates:
        healthy = [t for t in trials if t.rate_hz == rate and t.cause == "healthy"]
        days = sum(t.days for t in healthy)
        for who, side in (("engine", [t.false for t in healthy]), ("script", [t.script_false for t in healthy])):
            counts: Counter[str] = Counter()
            for false in side:
                counts.update(false)
            each = [str(counts[name]) for name in FALSE_NAMES]
            a_day = number(counts.total() / days, 2) if days else "nan"
            rows.append([f"{rate:g} Hz, {who}", f"{days:g}", *each, a_day])
    head = ["healthy vehicles", "days", *(name.replace("_", " ") for name in FALSE_NAMES), "a day"]
    return "False findings on healthy vehicles (asked: none in 30 vehicle-days):\n\n" + _markdown(head, rows)


FALSE_NAMES = ("cranks", "failed_starts", "faults", "wake_ups", "level_steps", "notices")


def _by_cause(trials: Sequence[Trial], rate: float) -> str:
    rows = []
    for cause in CAUSES:
        group = [t for t in trials if t.cause == cause]
        cells: list[str] = [cause]
        for name in BY_CAUSE:
            score = total(t.engine.get(name, Score()) for t in group)
            events = BY_NAME[name].kind == "events"
            whole = len(score.errors) + score.missed
            cells.append(number(score.f1, 3) if events else percent(len(score.errors) - score.off, whole))
        rows.append(cells)
    head = ["cause", *(BY_NAME[name].label for name in BY_CAUSE)]
    return f"By cause, {rate:g} Hz (F1, or share of the errors allowed):\n\n" + _markdown(head, rows)


def _markdown(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [" | ".join(head), " | ".join("---" for _ in head), *(" | ".join(row) for row in rows)]
    return "\n".join(f"| {line} |" for line in lines)
