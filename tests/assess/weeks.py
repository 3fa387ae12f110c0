"""Result documents of invented weeks: one stand a night, with the figures a test asks for."""

from collections.abc import Sequence
from datetime import UTC

from monitor.base.fields import Span
from monitor.base.results import Log, Plateau, Rest, Result, Stand, WakeUp
from monitor.base.window import parse_moment

HOUR = 3_600_000_000
DAY = 24 * HOUR


def at(text: str) -> int:
    return parse_moment(text, UTC, "at")


FIRST = at("2025-03-03T18:00")  # evening of the first night; all nights are in UTC


def night(place: int, level_ma: float | None, wakes: int = 0, decay: float | None = None, hours: float = 12.0) -> Stand:
    start = FIRST + place * DAY
    end = start + int(hours * HOUR)
    apart = (end - start) // (wakes + 1)
    level = None if level_ma is None else level_ma / 1000
    return Stand(
        start=start,
        end=end,
        settled_at=start if level is not None else None,
        sleep_current_a=level,
        plateaus=[] if level is None else [Plateau(start=start, end=end, amps=-level)],
        wake_ups=[
            WakeUp(
                start=start + k * apart, end=start + k * apart + 60_000_000, peak_a=0.3, excess_a=0.2, charge_ah=0.003
            )
            for k in range(1, wakes + 1)
        ],
        charge_out_ah=None if level is None else level * hours,
        rest=Rest(decay_mv_per_h=decay),
    )


def week(
    levels: Sequence[float | None], wakes: Sequence[int] | None = None, decays: Sequence[float | None] | None = None
) -> Result:
    """Nights of these sleep currents (mA), wake-ups and decays (mV/h)."""
    channels = ["volts", "amps"] if any(level is not None for level in levels) else ["volts"]
    stands = [
        night(k, level, wakes[k] if wakes else 0, decays[k] if decays else None) for k, level in enumerate(levels)
    ]
    log = Log(first=FIRST, last=FIRST + len(levels) * DAY, samples=1, channels=channels)
    return Result(vehicle="van", log=log, stands=stands)


def repaired_after(nights: int) -> int:
    """The noon after so many nights."""
    return FIRST + (nights - 1) * DAY + 18 * HOUR


def gap(start: int, end: int) -> Span:
    return Span(start=start, end=end)
