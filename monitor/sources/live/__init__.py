"""Live loggers: bytes as they arrive → rows. One transport or instrument a file, all behind one protocol."""

from monitor.sources.live.arrival import Arrival, LinkState, LiveLogger
from monitor.sources.live.feed import Feed
from monitor.sources.live.opening import open_live

__all__ = ["Arrival", "Feed", "LinkState", "LiveLogger", "open_live"]
