"""Charge balance: what went in and out, what a night costs and the drives return, the charge factor.

Charge is counted, not estimated; what was not observed is said. The charge factor (Ah in / Ah out) a battery needs to
stay full: AGM 1.02–1.05, flooded 1.10–1.20 (from memory); 1.05–1.50 by age and temperature over all kinds (a battery
maker's charging recommendations). It is only held against that from a week on (common practice): in fewer days the
state of charge at both ends says more.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta, tzinfo
from statistics import median

from monitor.base.fields import EPOCH
from monitor.base.results import Drive, Result, Stand
from monitor.base.vehicle import BatteryKind

NEEDED: dict[BatteryKind | None, tuple[float, float]] = {
    "agm": (1.02, 1.05),
    "gel": (1.02, 1.05),  # our choice: sealed like AGM
    "flooded": (1.10, 1.20),
    "efb": (1.10, 1.20),  # our choice: a flooded battery
    "lifepo4": (1.00, 1.02),  # from memory: hardly any loss
    None: (1.02, 1.20),
}
FACTOR_DAYS = 6.9  # a week, and a log of one may miss its edges
NIGHT_HOUR = 3  # a stand that is there at three in the morning is a night; our choice
NIGHT_LEAST_H = 4.0  # our choice
LEAST_AH = 0.05  # sentences on less would be noise; our choice


@dataclass(frozen=True, slots=True)
class Balance:
    """Charge over the whole log, Ah, positive; None where no current was logged.

    factor             Ah in / Ah out; None without both
    needed_low, needed_high   factor that keeps this kind of battery full
    night_ah, nights   median net cost of a night, and of how many
    returned_ah        what all drives of a day bring in net, on average; negative: they cost
    days               length of the log
    """

    in_ah: float
    out_ah: float
    net_ah: float
    stands_ah: float
    drives_ah: float
    days: float
    unobserved_s: float
    factor: float | None
    needed_low: float
    needed_high: float
    night_ah: float | None
    nights: int
    returned_ah: float | None


def net_ah(part: Stand | Drive) -> float | None:
    """Charge into the battery less charge out of it over a stand or drive, Ah; None without current."""
    if part.charge_in_ah is None or part.charge_out_ah is None:
        return None
    return part.charge_in_ah - part.charge_out_ah


def total(result: Result, kind: BatteryKind | None, zone: tzinfo | None) -> Balance | None:
    """The balance of the whole log; None where the log has no current."""
    log = result.log
    parts: list[Stand | Drive] = [*result.stands, *result.drives]
    known = [part for part in parts if net_ah(part) is not None]
    if log.first is None or log.last is None or not known:
        return None
    days = (log.last - log.first) / 86_400e6
    into = sum(part.charge_in_ah or 0.0 for part in known)
    out = sum(part.charge_out_ah or 0.0 for part in known)
    nights = [cost for stand in result.stands if (cost := _night_cost(stand, log.last, zone)) is not None]
    drives = sum(net_ah(drive) or 0.0 for drive in result.drives)
    low, high = NEEDED[kind]
    return Balance(
        in_ah=into,
        out_ah=out,
        net_ah=into - out,
        stands_ah=sum(net_ah(stand) or 0.0 for stand in result.stands),
        drives_ah=drives,
        days=days,
        unobserved_s=log.unobserved_s,
        factor=into / out if result.drives and out > LEAST_AH else None,
        needed_low=low,
        needed_high=high,
        night_ah=median(nights) if nights else None,
        nights=len(nights),
        returned_ah=drives / max(days, 1.0) if result.drives else None,
    )


def sentences(balance: Balance) -> list[str]:
    """The balance in words, each with its numbers.

    >>> b = Balance(3.0, 12.6, -9.6, -12.0, 2.4, 8.0, 0.0, 0.24, 1.1, 1.2, 9.6, 7, 3.1)
    >>> sentences(b)[0]
    'A night costs 9.6 Ah (median of 7 nights), your drives return 3.1 Ah a day.'
    """
    told = []
    night, back = balance.night_ah, balance.returned_ah
    if night is not None and abs(night) >= LEAST_AH:
        of = f" (median of {balance.nights} nights)" if balance.nights > 1 else ""
        tail = "" if back is None else f", your drives return {_ah(back)} a day"
        if back is not None and back < 0:
            tail = f", and your drives take {_ah(-back)} more a day"
        told.append(f"A night {'costs' if night > 0 else 'brings'} {_ah(abs(night))}{of}{tail}.")
    told.append(
        f"In {balance.days:.1f} days {_ah(balance.in_ah)} went into the battery and {_ah(balance.out_ah)} out:"
        f" net {balance.net_ah:+.2f} Ah{_hidden(balance)}.".replace("-", "−")
    )
    if balance.factor is not None and balance.days >= FACTOR_DAYS:
        low, high = balance.needed_low, balance.needed_high
        word = "less than" if balance.factor < low else "within" if balance.factor <= high else "more than"
        told.append(
            f"Charge factor {balance.factor:.2f}: {word} the {low:.2f} to {high:.2f} that keeps such a battery full."
        )
    return told


def _night_cost(stand: Stand, last_us: int, zone: tzinfo | None) -> float | None:
    """Net charge a night took, Ah, positive; None: no night, or its current is not known for most of it."""
    end = last_us if stand.end is None else stand.end
    hours = (end - stand.start) / 3600e6
    net = net_ah(stand)
    if net is None or stand.charges or hours < NIGHT_LEAST_H or stand.unobserved_s > 360.0 * hours:
        return None  # a tenth unobserved is too much for a cost
    start, until = ((EPOCH + timedelta(microseconds=t)).astimezone(zone) for t in (stand.start, end))
    three = start.replace(hour=NIGHT_HOUR, minute=0, second=0, microsecond=0)
    nights = sum(start <= three + timedelta(days=k) < until for k in range(int(hours // 24) + 2))
    return -net / max(nights, hours / 24.0) if nights else None


def _hidden(balance: Balance) -> str:
    hours = balance.unobserved_s / 3600.0
    return f"; {hours:.1f} h were not observed" if hours >= 0.1 else ""


def _ah(value: float) -> str:
    return f"{value:.2f} Ah" if abs(value) < 1 else f"{value:.1f} Ah"
