"""What was read: the head of the text, with everything that was refused, repeated, missing or stepped."""

from __future__ import annotations

from monitor.base.errors import printable
from monitor.base.results import Log, Result
from monitor.base.window import OUTSIDE
from monitor.views.words import LocalTime, count, joined, length, rate

LISTED = 5  # gaps and clock steps told one by one. Our choice: more is for the document

CHANNELS = {"volts": "volts", "amps": "amps", "celsius": "temperature"}


def log_rows(result: Result, time: LocalTime) -> list[tuple[str, str]]:
    """Label and text of each row."""
    log = result.log
    if log.first is None or log.last is None:
        return [("Log", "no samples"), *_losses(log, time)]
    span = f"{time.moment(log.first)} to {time.moment(log.last)}, {length((log.last - log.first) / 1e6)}"
    read = [count(log.samples, "sample"), joined([CHANNELS[channel] for channel in log.channels]) or "no channel"]
    if log.rate_hz.median is not None:
        read.append(rate(log.rate_hz.median))
    return [("Log", span), ("Times", time.label(log.first)), ("Read", ", ".join(read)), *_losses(log, time)]


def notice_sentences(log: Log) -> list[str]:
    """What a person must know about the log itself, and the setting that mends it."""
    sentences = []
    for notice in log.notices:
        text = printable(notice.text).rstrip(".")
        setting = f" Setting: {printable(notice.setting)}" if notice.setting else ""
        sentences.append(f"{text[:1].upper()}{text[1:]}.{setting}")
    return sentences


def _losses(log: Log, time: LocalTime) -> list[tuple[str, str]]:
    rows = []
    for reason, number in log.refused.items():
        first = [
            f'{printable(row.file)} line {row.line} "{printable(row.text)}"'
            for row in log.refused_first.get(reason, [])
        ]
        shown = f": {'; '.join(first)}" if first else ""
        rows.append(
            ("Left out" if reason == OUTSIDE else "Refused", f"{count(number, 'row')}, {printable(reason)}{shown}")
        )
    if log.duplicates:
        rows.append(("Repeated", f"{count(log.duplicates, 'row')} with a time already read, left out"))
    if log.reordered:
        rows.append(("Order", f"{count(log.reordered, 'row')} put back into time order"))
    if log.gaps:
        longest = sorted(log.gaps, key=lambda gap: gap.start - gap.end)[:LISTED]
        told = [f"{length((gap.end - gap.start) / 1e6)} from {time.moment(gap.start)}" for gap in longest]
        which = "" if len(log.gaps) == len(longest) else "the longest: "
        rows.append(("Gaps", f"{length(log.unobserved_s)} not observed in all; {which}{joined(told)}"))
    if log.clock_steps:
        told = [
            f"{'forward' if step.seconds > 0 else 'back'} {length(abs(step.seconds))} at {time.moment(step.at)}"
            for step in log.clock_steps
        ]
        rows.append(("Clock", f"the logger's clock was set {_some(told)}"))
    return rows


def _some(told: list[str]) -> str:
    left = len(told) - LISTED
    return joined(told) if left <= 0 else f"{', '.join(told[:LISTED])} and {left} more"
