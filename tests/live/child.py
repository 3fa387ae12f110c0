"""A process for a test to kill: forwards a real journal until nothing is left. python -m tests.live.child HOME URL"""

import sys
from pathlib import Path

from monitor.store.forward_backlog import CURSOR, Step
from monitor.store.forwarder import Forwarder
from monitor.store.home import Home
from monitor.store.journal import Journal
from monitor.store.reader import JournalReader
from tests.store.forwarding import drain, van


def journalled(journal: Journal, step: Step) -> None:
    """What the service's one writer does with a move."""
    journal.move(CURSOR, step.position, step.lost, step.state, step.rejected)


def forward(home: Home, url: str) -> None:
    journal = Journal(home)
    vehicle = van(url=url, batch_points=200)
    drain(Forwarder(vehicle, lambda: JournalReader(home), lambda step: journalled(journal, step), chance=lambda: 0.0))
    journal.close()


if __name__ == "__main__":
    forward(Home(Path(sys.argv[1])), sys.argv[2])
