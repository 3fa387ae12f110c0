"""Bytes, records and files become blocks; one logger dialect a file."""

from monitor.sources.recorded import RecordedLog, open_logs

__all__ = ["RecordedLog", "open_logs"]
