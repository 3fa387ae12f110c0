"""A fuse survey as a person reads it: each circuit with its current, the sum against the plateau, what to do next."""

from __future__ import annotations

from typing import IO

from monitor.assess.fuses import Agreement, FuseReading, FuseSurvey
from monitor.base.errors import printable
from monitor.views.lines import Lines
from monitor.views.words import NB, amps, amps_between, count

QUIET_A = 0.0005  # below half a milliampere a fuse is told as carrying nothing; our choice, below any module's draw
SIDE_BY_SIDE = 90  # columns from which a circuit's name stands beside its figures. Our choice

CAUTIONS = [
    "Read with everything asleep: latches closed by hand, keys away, half an hour and more after the last door.",
    "Measure across the fuses first and pull none: pulling and refitting wakes modules or resets the guilty one.",
    "The meter stands in volts, on the test points of the fuse, never in amperes: that would be a short circuit.",
    "The vehicle's service manual prevails.",
]
AGREEMENTS: dict[Agreement, str] = {
    "explained": "The fuses explain the plateau.",
    "small_rest": "The rest is small: below 30 mA, from which on a leak past the fuses is looked for.",
    "rest": "That rest flows past these fuses: through the alternator's B+, an unfused feed, or a fuse not measured.",
    "rest_within_error": "That rest may be the fuses' own error: it is within the error bars.",
    "too_much": "The fuses carry more than the plateau: counted twice, or not asleep while measuring.",
    "not_compared": "The sleep current was not given: whether the fuses explain it is unknown.",
}


def print_fuses(found: FuseSurvey, file: IO[str] | None = None, width: int | None = None) -> None:
    """Print the survey, the largest current first."""
    out = Lines(file, width)
    where = f"at {found.celsius:g}{NB}°C" if found.celsius is not None else "taken as 20 °C: no temperature given"
    out.wrapped(f"{count(len(found.readings), 'fuse')} measured, {where}", weight="bold")
    out.line()
    carrying = [one for one in found.readings if one.amps >= QUIET_A]
    names = {one.fuse: _name(one) for one in carrying}
    column = min(max((len(name) for name in names.values()), default=0) + 2, out.width // 3)
    for one in carrying:
        if out.width >= SIDE_BY_SIDE and len(names[one.fuse]) < column:
            out.wrapped(_figures(one), column, names[one.fuse])
        else:
            out.wrapped(names[one.fuse], weight="bold")
            out.wrapped(_figures(one), 2)
    quiet = [printable(one.fuse) for one in found.readings if one.amps < QUIET_A]
    if quiet:
        out.wrapped(f"No current to speak of: {', '.join(quiet)}.")
    out.line()
    out.wrapped(_sum(found), weight="bold")
    out.items("Mind", [printable(text) + "." for text in [*_of_fuses(found), *found.warnings]])
    out.items("Next", [printable(text) for text in found.next])
    out.items("Cautions", CAUTIONS)
    out.line()
    out.wrapped(_basis(found), weight="dim")


def _name(one: FuseReading) -> str:
    return printable(f"{one.fuse} {one.note}".strip())


def _figures(one: FuseReading) -> str:
    inside = "" if one.added else f", part of what {printable(str(one.feeds))} carries"
    return (
        f"{amps(one.amps)} ({amps_between(one.low_a, one.high_a)}){inside}: {one.millivolts:g}{NB}mV across"
        f" {one.family} {one.rating_a:g}{NB}A, {one.resistance_mohm:.2f}{NB}mΩ{' entered' * (one.source == 'entered')}"
    )


def _sum(found: FuseSurvey) -> str:
    text = f"Together {amps(found.sum_a)} ({amps_between(found.sum_low_a, found.sum_high_a)})"
    if found.plateau_a is None or found.rest_a is None or found.rest_low_a is None or found.rest_high_a is None:
        return f"{text}. {AGREEMENTS[found.agreement]}"
    rest = f"{amps(found.rest_a)} ({amps_between(found.rest_low_a, found.rest_high_a)})"
    return f"{text} of {amps(found.plateau_a)} asleep; unexplained {rest}. {AGREEMENTS[found.agreement]}"


def _of_fuses(found: FuseSurvey) -> list[str]:
    return [f"{one.fuse}: {text}" for one in found.readings for text in one.warnings]


def _basis(found: FuseSurvey) -> str:
    sources = sorted({one.source.split("; ")[0] for one in found.readings if one.source != "entered"})
    return (
        "Error bars: ±15 % for the part (±5 % where the resistance was entered) and half the meter's last digit; the"
        " sum adds the errors of its parts as squares. Resistance rises by 0.39 %/K."
        + (f" Cold resistances: {'; '.join(sources)}." if sources else "")
    )
