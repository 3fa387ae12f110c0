"""What the bench says: lines with their bounds, the machine, the table, and the JSON beside it."""

import json
import os
import platform
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

OUT = Path(__file__).with_name("out")
HEADER = ("what", "measured", "bound", "kept", "how")


@dataclass(frozen=True)
class Line:
    """One line of the table; `kept` is whether the bound holds."""

    what: str
    value: float
    unit: str
    bound: str
    kept: bool
    detail: str


def at_most(what: str, value: float, unit: str, bound: float, detail: str) -> Line:
    return Line(what, value, unit, f"<= {bound:g}", value <= bound, detail)


def stated(what: str, value: float, unit: str, detail: str) -> Line:
    """A figure that is told, with no bound."""
    return Line(what, value, unit, "none", True, detail)


def machine() -> dict[str, str]:
    """Date, processor, load before the bench, and the versions that matter."""
    model = platform.processor() or "unknown"
    about = Path("/proc/cpuinfo")
    if about.exists():
        names = [
            x.partition(":")[2] for x in about.read_text(encoding="utf-8").splitlines() if x.startswith("model name")
        ]
        model = names[0].strip() if names else model
    return {
        "date": datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        "processor": f"{model}, {os.cpu_count()} cores",
        "load": f"{os.getloadavg()[0]:.1f}",
        "python": platform.python_version(),
        "pyarrow": version("pyarrow"),
        "numpy": version("numpy"),
    }


def table(lines: Sequence[Line]) -> str:
    """The lines as a table, readable as text and as Markdown."""
    cells = [HEADER]
    cells += [(x.what, f"{x.value:.2f} {x.unit}", x.bound, "yes" if x.kept else "NO", x.detail) for x in lines]
    widths = [max(len(row[i]) for row in cells) for i in range(len(HEADER))]
    rows = [
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |" for row in cells
    ]
    rows.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return "\n".join(rows)


def marked(name: str, lines: Sequence[Line]) -> str:
    """The table between the markers that it has in the README."""
    return f"<!-- {name}: begin -->\n{table(lines)}\n<!-- {name}: end -->"


def keep(about: dict[str, str], lines: Sequence[Line]) -> Path:
    """Write the report as JSON; returns where."""
    OUT.mkdir(exist_ok=True)
    path = OUT / "bench.json"
    whole = {"machine": about, "lines": [asdict(line) for line in lines]}
    path.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    return path
