"""The figures of the scoreboard: what is asked of each, when a log keeps it, and how it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan
from typing import Literal

from tests.scoreboard.score import Score

WAKE_F1 = 0.99  # from the requirements


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure.

    asked    the requirement, or "our choice" where there is none
    kind     "events" are judged by F1, "words" by no wrong word, "errors" by the share that is allowed
    least    F1, or share of the errors, with which one log keeps the figure; None: shown, not judged
    unit     of the errors
    """

    name: str
    label: str
    asked: str
    kind: Literal["events", "words", "errors"]
    least: float | None = 1.0
    unit: str = ""

    def kept(self, score: Score) -> bool | None:
        """Whether a log keeps it; None where it has nothing to judge, or the figure is not judged."""
        if score.is_empty or self.least is None:
            return None
        if self.kind == "words":
            return score.invented == 0
        reached = score.f1 if self.kind == "events" else score.within
        return reached >= self.least

    def text(self, score: Score) -> str:
        """The figure over many logs; nan where there is nothing to judge.

        >>> FIGURES[0].text(Score(hits=99, missed=2))
        '0.990 (99, −2 +0)'
        """
        if self.kind == "events":
            return f"{number(score.f1, 3)} ({score.hits}, −{score.missed} +{score.invented})"
        if self.kind == "words":
            known = score.hits + score.invented
            return f"{percent(score.hits, known)} of {known}, unknown {score.missed}"
        spread = f"{number(score.error(0.5), 2)}/{number(score.error(0.95), 2)}{self.unit}"
        if self.least is None:
            return spread
        none = f", none {score.missed}" if score.missed else ""
        return f"{percent(len(score.errors) - score.off, len(score.errors) + score.missed)} ({spread}{none})"


FIGURES = (
    Figure("borders", "stand and drive borders", "F1 1.00 within 5 s", "events"),
    Figure("borders_found", "…found at all (300 s)", "our choice", "events"),
    Figure("border_delay", "…delay", "shown", "errors", None, " s"),
    Figure("settled_at", "settled_at", "10 s or 2 %", "errors", 1.0, " s"),
    Figure("time_to_sleep", "time to sleep", "10 s or 2 %", "errors", 1.0, " s"),
    Figure("settled_in_hours", "settled_at, shared hours", "beside ruptures", "errors", 1.0, " s"),
    Figure("sleep_current", "sleep current", "0.5 mA or 1 %", "errors", 1.0, " mA"),
    Figure("level_steps", "level steps", "our choice: 10 s", "events"),
    Figure("wake_ups", "wake-ups", "F1 ≥ 0.99", "events", WAKE_F1),
    Figure("wake_charge", "wake-up charge, sampling allowed", "3 %", "errors"),
    Figure("wake_charge_plain", "wake-up charge, plain 3 %", "3 %", "errors"),
    Figure("cranks", "cranks", "none missed, none invented", "events"),
    Figure("failed_starts", "failed starts", "none missed, none invented", "events"),
    Figure("crank_volts_min", "crank: lowest reading told", "our choice: exact", "errors", 1.0, " mV"),
    Figure("crank_depth", "crank: volts_min above the truth", "shown", "errors", None, " mV"),
    Figure("crank_length", "crank: length", "our choice: 2 samples", "errors", 1.0, " s"),
    Figure("stops", "stop-start stops", "our choice: 5 s", "events"),
    Figure("stand_charge_in", "stands: charge in", "our choice: 2 % of all", "errors", 1.0, " %"),
    Figure("stand_charge_out", "stands: charge out", "our choice: 2 % of all", "errors", 1.0, " %"),
    Figure("stand_charge_net", "stands: charge net", "our choice: 2 % of all", "errors", 1.0, " %"),
    Figure("drive_charge_in", "drives: charge in", "our choice: 2 % of all", "errors", 1.0, " %"),
    Figure("drive_charge_out", "drives: charge out", "our choice: 2 % of all", "errors", 1.0, " %"),
    Figure("drive_charge_net", "drives: charge net", "our choice: 2 % of all", "errors", 1.0, " %"),
    Figure("faults", "charging faults", "our choice: all", "events"),
    Figure("regulation", "regulation named", "our choice: no wrong word", "words"),
)
BY_NAME = {figure.name: figure for figure in FIGURES}


def number(value: float, digits: int) -> str:
    """A number, or nan."""
    return "nan" if isnan(value) else f"{value:.{digits}f}"


def percent(part: int, whole: int) -> str:
    """A share in percent, or nan of nothing.

    >>> percent(1, 3), percent(0, 0)
    ('33.3 %', 'nan')
    """
    return f"{100 * part / whole:.1f} %" if whole else "nan"
