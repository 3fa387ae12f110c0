"""`keyoff watch` with a profiler in each of its threads: who takes the processor's time, and what memory came with.

`python -m tests.bench.profiled FILE --data DIR`, ended as the service is; then prints for each kind of thread the
functions that take most of the processor (not of the wall clock), and the growth of memory beside the libraries that
were imported meanwhile. The profiler itself makes small functions look dearer than they are.
"""

from __future__ import annotations

import cProfile
import io
import os
import pstats
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

SHOWN = 30
LOOK_S = 0.25
GREW_MIB = 0.7


class Profiles:
    """Profiles by the first word of the thread's name."""

    def __init__(self) -> None:
        self.kept: list[tuple[str, cProfile.Profile]] = []
        self.grown: list[str] = []
        whole = threading.Thread.run

        def run(thread: threading.Thread) -> None:
            profile = cProfile.Profile(time.thread_time)
            self.kept.append((thread.name.split()[0].split("-")[0], profile))
            profile.runcall(whole, thread)

        setattr(threading.Thread, "run", run)  # noqa: B010 - a profiler reaches in by its nature

    def look(self) -> None:
        """Note what memory grew, and which libraries came in meanwhile."""
        known: set[str] = set()
        before = 0.0
        while True:
            now, there = _resident_mib(), set(sys.modules)
            if now - before > GREW_MIB:
                tops = {name.partition(".")[0] for name in there} - {name.partition(".")[0] for name in known}
                ours = sorted(name for name in there - known if name.startswith("monitor."))
                came = ", ".join(sorted(tops - set(sys.stdlib_module_names)))
                self.grown.append(
                    f"{now:6.1f} MiB (+{now - before:.1f})  {came}; ours: {len(ours)} {' '.join(ours)[:120]}"
                )
                before = now
            known = there
            time.sleep(LOOK_S)  # between two looks

    def tell(self) -> None:
        """Print it all."""
        for kind in sorted({kind for kind, _ in self.kept}):
            text = io.StringIO()
            stats: Any = None
            for name, profile in self.kept:
                if name != kind:
                    continue
                profile.create_stats()
                with suppress(TypeError):  # of a thread that has done nothing
                    stats = pstats.Stats(profile, stream=text) if stats is None else stats.add(profile)
            if stats is None or stats.total_tt < 0.02:
                continue
            stats.sort_stats("tottime").print_stats(SHOWN)
            stats.sort_stats("cumtime").print_stats(SHOWN)
            sys.stdout.write(f"\n===== {kind}\n{text.getvalue()}")
        sys.stdout.write("\n".join(self.grown) + "\n")
        sys.stdout.flush()


def _resident_mib() -> float:
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


def main() -> None:
    profiles = Profiles()
    threading.Thread(target=profiles.look, name="memory", daemon=True).start()
    end = os._exit
    main_profile = cProfile.Profile(time.thread_time)
    profiles.kept.append(("main", main_profile))

    def told(code: int) -> NoReturn:
        main_profile.disable()
        profiles.tell()
        end(code)

    setattr(os, "_exit", told)  # noqa: B010 - as above
    from monitor.cli import main as keyoff

    sys.argv = ["keyoff", "watch", *sys.argv[1:]]
    main_profile.enable()
    keyoff()


if __name__ == "__main__":
    main()
