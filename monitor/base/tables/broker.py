"""The [broker] table: the message broker that samples come from or state goes to."""

from __future__ import annotations

from monitor.base.tables.strict import Strict


class BrokerTable(Strict):
    """Address, topics and credentials of an MQTT broker."""
