"""Runs the command as a person does: another process, its exit code and what it printed."""

import os
import subprocess
import sys
from pathlib import Path

KEYOFF = [sys.executable, "-c", "import sys; from monitor.cli import main; sys.exit(main())"]
DEADLINE_S = 60.0  # far beyond any of these commands; reached only when one hangs


def keyoff(*words: str, at: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*KEYOFF, *words],
        capture_output=True,
        encoding="utf-8",
        timeout=DEADLINE_S,
        cwd=at,
        env=os.environ | {"PYTHONIOENCODING": "utf-8"} | environment,
    )
