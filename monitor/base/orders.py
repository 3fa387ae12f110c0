"""Orders: what a person, or the service itself, tells a running watch; journalled at their place among the samples."""

from __future__ import annotations

from typing import Literal

from monitor.base.fields import Moment, Number, Part
from monitor.base.results import Mark

OrderKind = Literal[
    "acknowledge", "shelve", "unshelve", "out_of_service", "in_service", "hush", "unhush", "mark", "observe", "rules"
]


class Order(Part):
    """One order.

    id         unique; an order that comes twice is carried out once
    at         when it was given, UTC
    limit      acknowledge, shelve, unshelve, out_of_service, in_service: which limit
    until      shelve, hush: until when
    mark       mark: what to note
    quantity, value  observe: something that the samples do not hold (free disk, clock, logger's link), as seen at `at`
    text       rules: the new rules, as resolved (JSON); else a remark
    """

    id: str
    at: Moment
    kind: OrderKind
    limit: str | None = None
    until: Moment | None = None
    mark: Mark | None = None
    quantity: str | None = None
    value: Number | None = None
    text: str | None = None
