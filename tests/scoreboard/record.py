"""Writing down what was measured: the tables into DEVELOPERS.md, the ground of the bars into measured.py."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from tests.scoreboard.table import measured, tables
from tests.scoreboard.trial import Trial

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
GROUND = Path(__file__).with_name("measured.py")
BEGIN, END = "<!-- scoreboard: written by python -m tests.scoreboard --write -->", "<!-- scoreboard: end -->"
BAR_RATES = (1.0, 10.0)  # Hz; those that the suite runs
LEAST_JUDGED = 10  # a figure that fewer logs could judge has no bar

HEAD = '''"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: {said}.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {{
'''


def write(trials: Sequence[Trial], healthy: Sequence[Trial], date: str) -> None:
    """Both files; `healthy` are further logs of healthy vehicles at 1 Hz."""
    GROUND.write_text(ground(trials, healthy, f"{date}, first seed {min(t.seed for t in trials)}"), encoding="utf-8")
    page = PAGE.read_text(encoding="utf-8")
    text = f"{BEGIN}\n\nMeasured {date}. {_healthy(healthy)}\n\n{tables(trials)}\n\n{END}"
    PAGE.write_text(re.sub(f"{re.escape(BEGIN)}.*{re.escape(END)}", lambda _: text, page, flags=re.DOTALL), "utf-8")


def ground(trials: Sequence[Trial], healthy: Sequence[Trial], said: str) -> str:
    """The text of measured.py."""
    lines = []
    for rate in BAR_RATES:
        lines.append(f"    {rate}: {{\n")
        for name, one in measured(t for t in trials if t.rate_hz == rate).items():
            if one.judged >= LEAST_JUDGED and name != "settled_in_hours":  # judged beside ruptures only
                lines.append(f'        "{name}": Measured({one.missed}, {one.judged}),\n')
        lines.append("    },\n")
    bad = sum(1 for t in healthy if sum(t.false.values()))
    end = f"}}\nFALSE_LOGS = Measured({bad}, {len(healthy)})  # healthy logs with a false finding\n"
    return HEAD.format(said=said) + "".join(lines) + end


def _healthy(trials: Sequence[Trial]) -> str:
    counts: Counter[str] = sum((Counter(t.false) for t in trials), Counter())
    days = sum(t.days for t in trials)
    false = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in counts.items()) or "none"
    bad = sum(1 for t in trials if sum(t.false.values()))
    seed = min(t.seed for t in trials)
    return (
        f"Of {days:g} further vehicle-days of healthy vehicles (1 Hz, {len(trials)} logs, first seed {seed}): false "
        f"findings {false}, in {bad} of the logs."
    )
