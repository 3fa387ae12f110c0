"""What stands and drives say alike: their heading, a crank's figures, unobserved time."""

from __future__ import annotations

from monitor.base.results import Crank, Drive, Log, Stand
from monitor.views.words import NB, amps, length, volts


def heading(part: Stand | Drive, log: Log) -> str:
    """What it is and how long it lasted, or has lasted when the log ends."""
    ended, going_on = ("Stood", "Standing") if isinstance(part, Stand) else ("Drove", "Engine running")
    since = ", from the beginning of the log" if part.start == log.first else ""
    if part.end is None:
        so_far = f" for {length((log.last - part.start) / 1e6)}" if log.last is not None else ""
        return f"{going_on}{so_far}{since}; not over when the log ends"
    until = ", until the end of the log" if part.open else ""
    return f"{ended} {length((part.end - part.start) / 1e6)}{since}{until}"


def unobserved(seconds: float) -> list[str]:
    """A sentence on unobserved time, when there is some."""
    return [f"{length(seconds)} of it not observed: nothing is known of that time."] if seconds else []


def crank_figures(crank: Crank) -> str:
    """The figures of a crank, without a verdict.

    >>> from monitor.views.words import plain
    >>> plain(crank_figures(Crank(start=0, duration_s=0.84, volts_before=12.42, volts_min=9.87, amps_peak=-412)))
    '0.8 s, 12.42 V fell to 9.87 V, peak 412 A'
    """
    parts = [length(crank.duration_s) if crank.duration_s is not None else "length unknown"]
    if crank.volts_min is not None:
        before = f"{volts(crank.volts_before)} fell to " if crank.volts_before is not None else "fell to "
        parts.append(before + volts(crank.volts_min))
    if crank.amps_peak is not None:
        parts.append(f"peak {amps(abs(crank.amps_peak))}")
    if crank.amps_plateau is not None:
        parts.append(f"then about {amps(abs(crank.amps_plateau))}")
    if crank.resistance_mohm is not None:
        parts.append(f"apparent resistance {crank.resistance_mohm:.1f}{NB}mΩ")
    if crank.engine_rpm is not None:
        parts.append(f"engine turned at {crank.engine_rpm:.0f}{NB}rpm")
    return ", ".join(parts)
