"""Quiet hours: when a notice may go."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo

from monitor.base.fields import EPOCH
from monitor.base.tables.notices import Quiet


def may_go_at(t_us: int, priority: str, quiet: Quiet | None, zone: tzinfo | None) -> int:
    """The moment from `t_us` on, µs UTC, at which a notice of this priority may go; `zone` None: this computer's.

    The hours are those of the local clock, so they keep their place when it is put forward or back.

    >>> night = Quiet.model_validate({"from": "22:00", "to": "07:00"})
    >>> may_go_at(23 * 3_600_000_000, "high", night, UTC) // 3_600_000_000
    31
    >>> may_go_at(23 * 3_600_000_000, "critical", night, UTC) // 3_600_000_000
    23
    """
    if quiet is None or priority in quiet.excepted:
        return t_us
    local = (EPOCH + timedelta(microseconds=t_us)).astimezone(zone)
    minute = local.hour * 60 + local.minute
    if quiet.from_min < quiet.to_min:
        inside, tomorrow = quiet.from_min <= minute < quiet.to_min, False
    else:
        inside, tomorrow = minute >= quiet.from_min or minute < quiet.to_min, minute >= quiet.from_min
    if not inside:
        return t_us
    day = local.date() + timedelta(days=1) if tomorrow else local.date()
    end = datetime(day.year, day.month, day.day, *divmod(quiet.to_min, 60), tzinfo=zone)
    return max(t_us, (end.astimezone(UTC) - EPOCH) // timedelta(microseconds=1))
