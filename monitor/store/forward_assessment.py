"""The verdict and the battery as an event of the journal, so that a server gets them in their place in the stream."""

from __future__ import annotations

from monitor.base.results import Result

KIND = "assessment"
HOUR_US = 3_600_000_000


def assessment_event(result: Result) -> tuple[int, str, int, str] | None:
    """Number, kind, time and JSON, as the journal takes an event; None where nothing was logged or assessed.

    The number is below zero, so it is none of the watch's, and belongs to the hour of data time: told again in the same
    hour it is stored once.

    >>> assessment_event(Result()) is None
    True
    """
    at_us = result.log.last
    if at_us is None or (result.verdict is None and result.battery is None):
        return None
    return -1 - at_us // HOUR_US, KIND, at_us, result.model_dump_json(include={"verdict", "battery"})
