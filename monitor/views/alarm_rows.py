"""The alarms that rules raised on a log, in a sentence each, and once what to do about each limit."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.base.alarms import Alarm
from monitor.base.errors import printable
from monitor.views.figures import figure, quantity_name
from monitor.views.words import LocalTime, count, length


def alarm_rows(alarms: Sequence[Alarm], rules: str, time: LocalTime, end_us: int) -> list[tuple[str, str]]:
    """Label and text of each line about the alarms of one set of rules."""
    if not alarms:
        return [("Alarms", f"None under the rules {printable(rules)}.")]
    rows = [("Alarms", f"{count(len(alarms), 'alarm')} under the rules {printable(rules)}:")]
    rows += [("", f"{time.moment(alarm.raised)}, {sentence(alarm, end_us)}") for alarm in alarms]
    responses = {alarm.limit: (alarm.cause, alarm.response) for alarm in alarms}
    for name, (cause, response) in responses.items():
        rows.append(("To do", f"{printable(name)}: {printable(cause)} {printable(response)}"))
    return rows


def sentence(alarm: Alarm, end_us: int) -> str:
    """Which limit, how urgent, the value against the setpoint, and how long.

    >>> drain = Alarm(
    ...     limit="sleep-current", quantity="sleep_current", unit="A", side="high", priority="medium",
    ...     state="unacknowledged", value=0.095, setpoint=0.05, worst=0.12, since=0, raised=900_000_000,
    ...     cause="", response="",
    ... )
    >>> sentence(drain, 3_600_000_000).replace("\\N{NO-BREAK SPACE}", " ")
    'sleep-current (medium): sleep current 95 mA, limit 50 mA, worst 120 mA; still so after 1 h.'
    """

    def said(value: float) -> str:
        return figure(value, alarm.unit, alarm.quantity)

    words = f"{printable(alarm.limit)} ({alarm.priority}): {quantity_name(alarm.quantity)}"
    if alarm.value is not None:
        words += f" {said(alarm.value)},"
    words += f" limit {said(alarm.setpoint)}"
    if alarm.worst is not None and (alarm.value is None or said(alarm.worst) != said(alarm.value)):
        words += f", worst {said(alarm.worst)}"
    lasted = length(max((end_us if alarm.returned is None else alarm.returned) - alarm.since, 0) / 1e6)
    words += f"; still so after {lasted}" if alarm.returned is None else f"; over after {lasted}"
    return f"{words}{f', passed {alarm.passages} times' if alarm.passages > 1 else ''}."
