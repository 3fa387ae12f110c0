"""The command line; one file a command, no logic."""

from monitor.cli.entry import main

__all__ = ["main"]
