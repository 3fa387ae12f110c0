"""Power that goes off, and kill -9: what was acknowledged is there, whole, and nothing else is.

A power cut is shown as far as it can be here: SQLite is told to have each commit on the disk (test_journal.py), and of
the write-ahead log any beginning may be all that reached it.
"""

import os
import random
import select
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from monitor.store.entries import Event, Samples
from monitor.store.home import Home
from monitor.store.journal import Journal
from tests.store.making import DAY_US, FIRST_DAY, home_in, plain, records, second

START = FIRST_DAY * DAY_US
DEADLINE_S = 60.0


def whole_seconds(home: Home) -> int:
    """How many seconds the journal holds; fails where one is there in part, doubled, or after one that is missing."""
    found = records(home)
    samples = [int(r.block.t_us[0]) for r in found if isinstance(r, Samples)]
    assert samples == [START + index * 1_000_000 for index in range(len(samples))]
    assert all(len(r.block) == 10 for r in found if isinstance(r, Samples))
    assert [r.number for r in found if isinstance(r, Event)] == list(range((len(samples) + 4) // 5))
    return len(samples)


def test_of_a_log_that_was_cut_anywhere_whole_commits_remain(tmp_path: Path) -> None:
    home = home_in(tmp_path / "whole")
    journal = Journal(home)
    for index in range(60):
        journal.commit(second(index, START))
    copy = home_in(tmp_path / "copy")
    shutil.copytree(home.folder, copy.folder)  # while it is open: all is in the write-ahead log
    journal.close()
    log = copy.journal.with_name("journal.db-wal").read_bytes()
    assert len(log) > 100_000
    chance = random.Random(7)
    cuts = [0, len(log), *(chance.randrange(len(log)) for _ in range(30))]
    kept = []
    for index, cut in enumerate(sorted(cuts)):
        home = home_in(tmp_path / str(index))
        shutil.copytree(copy.folder, home.folder)
        home.journal.with_name("journal.db-wal").write_bytes(log[:cut])
        again = Journal(home)
        assert again.damage is None
        kept.append(whole_seconds(home))
        state = again.resume().checkpoint
        assert state is None if kept[-1] < 20 else state == {"seconds": kept[-1] // 20 * 20}
        again.commit(second(kept[-1], START))
        again.close()
        assert whole_seconds(home) == kept[-1] + 1
    assert kept == sorted(kept)
    assert kept[0] == 0
    assert kept[-1] == 60
    assert len(set(kept)) > 10


WRITES = """
import sys
from pathlib import Path
from monitor.store.home import Home
from monitor.store.journal import Journal
from tests.store.making import second
journal = Journal(Home(Path(sys.argv[1])))
start = int(sys.argv[2])
have = int(sys.argv[3])
for index in range(have, 100_000):
    journal.commit(second(index, start))
    print(index + 1, flush=True)
"""


def test_killed_at_any_moment_what_was_acknowledged_is_there(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    chance = random.Random(11)
    have = 0
    for _ in range(5):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITES, str(home.folder), str(START), str(have)],
            stdout=subprocess.PIPE,
            cwd=Path(__file__).parents[2],
        )
        acknowledged = _acknowledged(process, have + chance.randrange(1, 40))
        process.send_signal(signal.SIGKILL)
        assert process.stdout is not None
        rest = process.stdout.read().split()  # what it had said when it died
        process.wait()
        process.stdout.close()
        acknowledged = max([acknowledged, *(int(line) for line in rest)])
        journal = Journal(home)
        assert journal.damage is None
        have = whole_seconds(home)
        journal.close()
        assert have in (acknowledged, acknowledged + 1)  # it may have died between commit and saying so
    assert have > 5


def _acknowledged(process: subprocess.Popen[bytes], wanted: int) -> int:
    """Read what the process says until it has acknowledged so many seconds."""
    assert process.stdout is not None
    ends = time.monotonic() + DEADLINE_S
    said = b""
    while True:
        ready, _, _ = select.select([process.stdout], [], [], max(0.0, ends - time.monotonic()))
        assert ready, "the writer fell silent"
        said += os.read(process.stdout.fileno(), 4096)
        lines = said.split(b"\n")[:-1]
        if lines and int(lines[-1]) >= wanted:
            return int(lines[-1])


def test_a_journal_that_nobody_closed_reads_the_same(tmp_path: Path) -> None:
    home = home_in(tmp_path / "open")
    journal = Journal(home)
    for index in range(30):
        journal.commit(second(index, START))
    copy = home_in(tmp_path / "copy")
    shutil.copytree(home.folder, copy.folder)
    before = plain(records(home))
    journal.close()
    Journal(copy).close()
    assert plain(records(copy)) == before == plain(records(home))
