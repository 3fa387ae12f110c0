"""Bytes, records and files become blocks; one logger dialect a file."""

from monitor.sources.opening import open_logs
from monitor.sources.recorded import RecordedLog

__all__ = ["RecordedLog", "open_logs"]
