"""The [database] table: the database server that gets a copy of what the journal holds."""

from __future__ import annotations

from monitor.base.tables.strict import Strict


class DatabaseTable(Strict):
    """Address, bucket and token of a server that takes line protocol."""
