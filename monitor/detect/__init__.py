"""Blocks become stands and drives; one detector a file; the engine strings them together."""

from monitor.detect.engine import Engine, Finding, replay
from monitor.detect.facts import Facts

__all__ = ["Engine", "Facts", "Finding", "replay"]
