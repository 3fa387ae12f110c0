"""The watch: the engine and the limits on what it finds, for one vehicle; blocks and orders in, events out.

Pure, like the engine: live and replay differ in who feeds it. It cuts the samples at whole minutes of data time itself
and judges there, so the events, and their order, do not depend on how the samples arrived.
"""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

from monitor.base.alarms import Alarm, Transition
from monitor.base.ledger import Ledger
from monitor.base.orders import Order
from monitor.base.results import Drive, QuarterHour, Result, Stand
from monitor.base.samples import Block
from monitor.base.vehicle import Vehicle

Event = Stand | Drive | QuarterHour | Transition


class Watch:
    """Feeds the engine and judges what it says; bounded memory, all state in plain objects.

    rules  resolved for this vehicle
    zone   whose days and nights are meant; None: UTC
    """

    def __init__(self, vehicle: Vehicle, rules: Any, zone: tzinfo | None) -> None:
        raise NotImplementedError

    def update(self, block: Block) -> list[Event]:
        """Take the next samples; what has ended or changed, in order."""
        raise NotImplementedError

    def advance(self, t_us: int) -> list[Event]:
        """Data time goes on to `t_us` without a sample: the logger is silent, and alarms may be due."""
        raise NotImplementedError

    def order(self, order: Order) -> list[Event]:
        """Carry out an order at this place among the samples."""
        raise NotImplementedError

    def alarms(self) -> list[Alarm]:
        """Alarms that are not both normal and acknowledged, the most urgent first."""
        raise NotImplementedError

    def document(self, ended: list[Event], ledger: Ledger | None = None) -> Result:
        """The assessed result document of `ended` and of what is open now; changes nothing."""
        raise NotImplementedError

    def snapshot(self) -> dict[str, Any]:
        """All it remembers, ready for JSON."""
        raise NotImplementedError

    @classmethod
    def restore(cls, vehicle: Vehicle, rules: Any, zone: tzinfo | None, snapshot: dict[str, Any]) -> Watch:
        """The watch of `snapshot`, to go on where it stood; ValueError when another version wrote it."""
        raise NotImplementedError
