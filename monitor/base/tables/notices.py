"""The [notices] table: who is told what, and when."""

from __future__ import annotations

from monitor.base.tables.strict import Strict


class NoticesTable(Strict):
    """Destinations by priority, quiet hours, summaries."""
