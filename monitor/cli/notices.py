"""What a source noticed about its logs, as notices of the result document."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.base.results import Notice
    from monitor.sources import RecordedLog
    from monitor.store.span import Span


def log_notices(log: RecordedLog | Span) -> list[Notice]:
    """Notices of a log that has been read to its end; rows that are neither samples nor refused are named too."""
    from monitor.base.results import Notice

    notices = [Notice(kind="source", text=text) for text in log.notices]
    if log.relative:
        text = "times count from the start of the log; the document puts that at 1970-01-01"
        notices.append(Notice(kind="relative_times", text=text))
    if log.others:
        notices.append(Notice(kind="other_rows", text=f"{log.others:,} rows carry no volts, amps or temperature"))
    if log.merged:
        text = f"{log.merged:,} rows only filled in what another row of the same time lacked"
        notices.append(Notice(kind="merged_rows", text=text))
    return notices
