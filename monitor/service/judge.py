"""Whether an order from outside can be carried out now, and the sentence that says what came of it."""

from __future__ import annotations

from difflib import get_close_matches

from monitor.base.fields import iso
from monitor.base.orders import Order
from monitor.limits.watch import Watch
from monitor.service.inbox import Answer

FROM_OUTSIDE = {
    "acknowledge",
    "shelve",
    "unshelve",
    "out_of_service",
    "in_service",
    "hush",
    "unhush",
    "mark",
}


def refusal(order: Order, watch: Watch | None, now_us: int) -> str | None:
    """Why the order cannot be carried out; None when it can."""
    if order.kind not in FROM_OUTSIDE:
        return f"{order.kind}: an order of the service's own"
    if order.kind == "mark":
        return None if order.mark is not None else "a mark without what to note"
    if watch is None:
        return "the watch is off after a fault; restart the service first"
    if order.kind in ("shelve", "hush") and (order.until is None or order.until <= now_us):
        return "the time until which it should hold has passed"
    if order.kind in ("hush", "unhush"):
        return None
    if order.limit is None:
        return "no limit is named"
    known = [limit.name for limit in watch.rules.limits]
    standing = {alarm.limit: alarm for alarm in watch.alarms()}
    if order.limit not in known and order.limit not in standing:
        near = get_close_matches(order.limit, known, 1)
        return f'no limit "{order.limit}" in the rules; ' + (
            f'did you mean "{near[0]}"?' if near else f"known: {', '.join(known) or 'none'}"
        )
    if order.kind == "acknowledge" and order.limit not in standing:
        return f'"{order.limit}" has no alarm standing'
    if order.kind == "acknowledge" and standing[order.limit].acknowledged is not None:
        return f'"{order.limit}" was acknowledged already'
    return None


def done(order: Order) -> Answer:
    """What to say of an order that has been carried out."""
    until = "" if order.until is None else f" until {iso(order.until)}"
    words = {
        "acknowledge": f'"{order.limit}" acknowledged',
        "shelve": f'"{order.limit}" shelved{until}',
        "unshelve": f'"{order.limit}" no longer shelved',
        "out_of_service": f'"{order.limit}" taken out of service',
        "in_service": f'"{order.limit}" back in service',
        "hush": f"hushed{until}",
        "unhush": "no longer hushed",
        "mark": f'noted: "{order.mark.text if order.mark else ""}"',
    }
    return Answer(True, words[order.kind])
