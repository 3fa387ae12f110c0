"""What the assessment says of battery, charge and wake-ups, and the charge of each day."""

from __future__ import annotations

from datetime import date

from monitor.base.results import DayBalance, Result
from monitor.views.words import NB, charge, length

LISTED = 14  # days told one by one; of a longer log the last ones. Our choice


def balance_rows(result: Result) -> list[tuple[str, str]]:
    """Labels, each once, and their sentences."""
    rows = [("Battery", text) for text in (result.battery.statements if result.battery is not None else [])]
    rows += [("Figures", text) for text in _figures(result)]
    days = [day for day in result.balance if day.net_ah is not None]
    if len(days) > 1:  # one day is told by the battery's own sentences
        left_out = len(days) - LISTED
        rows += [("Charge", f"{left_out} days before are in the document only.")] if left_out > 0 else []
        rows += [("Charge", day_sentence(day)) for day in days[-LISTED:]]
    return [(label if k == 0 or rows[k - 1][0] != label else "", text) for k, (label, text) in enumerate(rows)]


def day_sentence(day: DayBalance) -> str:
    """One day's charge.

    >>> from monitor.views.words import plain
    >>> plain(day_sentence(DayBalance(day="2025-03-04", in_ah=3.37, out_ah=0.84, net_ah=2.53)))
    'Tue 2025-03-04: 3.37 Ah in, 0.84 Ah out, net +2.53 Ah.'
    """
    weekday = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[date.fromisoformat(day.day).weekday()]
    net = day.net_ah or 0.0
    hidden = f"; {length(day.unobserved_s)} not observed" if day.unobserved_s >= 60.0 else ""
    return (
        f"{weekday} {day.day}: {charge(day.in_ah or 0.0)} in, {charge(day.out_ah or 0.0)} out,"
        f" net {'+' if net > 0 else ''}{charge(net)}{hidden}."
    )


def _figures(result: Result) -> list[str]:
    battery = result.battery
    if battery is None:
        return []
    told = []
    now, low, high = battery.state_of_charge, battery.state_of_charge_low, battery.state_of_charge_high
    if now is not None and low is not None and high is not None:
        told.append(
            f"State of charge at the end about {now * 100:.0f}{NB}% ({low * 100:.0f} to {high * 100:.0f}{NB}%)."
        )
    capacity = battery.capacity_ah
    if capacity is not None and capacity.low is not None and capacity.high is not None:
        told.append(
            f"Capacity about {capacity.value:.0f}{NB}Ah ({capacity.low:.0f} to {capacity.high:.0f}): {capacity.basis}."
        )
    if battery.resistance_mohm is not None:
        told.append(f"Apparent resistance {battery.resistance_mohm.value:.1f}{NB}mΩ: {battery.resistance_mohm.basis}.")
    return told
