"""Slow twins: the textbook definition of each optimised detector as a plain loop, used by tests only."""

from __future__ import annotations

import cmath
import itertools
import math
import statistics

from monitor.base.samples import SECOND_US, Block

GAP_TIMES, GAP_FLOOR_US = 5, 2 * SECOND_US


def rows_of(block: Block) -> list[tuple[int, float, float, float]]:
    """Rows that carry volts or amps: time, volts, amps, the last temperature seen; NaN where unknown."""
    rows, celsius = [], math.nan
    for i in range(len(block)):
        volts = float(block.volts[i])
        amps = math.nan if block.amps is None else float(block.amps[i])
        if block.celsius is not None and not math.isnan(block.celsius[i]):
            celsius = float(block.celsius[i])
        if not (math.isnan(volts) and math.isnan(amps)):
            rows.append((int(block.t_us[i]), volts, amps, celsius))
    return rows


def slow_gaps(times: list[int], gap_us: int | None = None) -> list[bool]:
    """For each row whether the interval that ends there is a gap."""
    steps = [b - a for a, b in itertools.pairwise(times)]
    gaps = [False]
    for k, step in enumerate(steps):
        if gap_us is not None:
            gaps.append(step > gap_us)
            continue
        neighbours = [steps[j] for j in (k - 1, k + 1) if 0 <= j < len(steps)]
        usual = max(neighbours, default=0)
        gaps.append(usual > 0 and step > max(GAP_FLOOR_US, GAP_TIMES * usual))
    return gaps


def slow_charges_nc(block: Block, gap_us: int | None = None) -> list[tuple[int, int]]:
    """Time and charge (nC, + in) of each interval between samples with amps, none across a gap."""
    rows = rows_of(block)
    gaps = slow_gaps([row[0] for row in rows], gap_us)
    before: tuple[int, float] | None = None
    charges = []
    for (t, _, amps, _), gap in zip(rows, gaps, strict=True):
        if gap:
            before = None
        if math.isnan(amps):
            continue
        if before is not None:
            charges.append((t, round((t - before[0]) * (0.5 * (before[1] + amps)) * 1000.0)))
        before = (t, amps)
    return charges


def slow_charge_nc(block: Block) -> tuple[int, int]:
    """All charge in and out, nC."""
    charges = [c for _, c in slow_charges_nc(block)]
    return sum(c for c in charges if c > 0), -sum(c for c in charges if c < 0)


def slow_seconds(block: Block, gap_us: int | None = None) -> list[dict[str, float]]:
    """One dictionary a second, by a plain loop over the samples."""
    rows = rows_of(block)
    gaps = slow_gaps([row[0] for row in rows], gap_us)
    table: dict[int, dict[str, float]] = {}
    readings: dict[int, tuple[list[float], list[float]]] = {}
    for k, (t, volts, amps, celsius) in enumerate(rows):
        second = t // SECOND_US
        entry = table.setdefault(
            second, {"second": second, "count": 0, "in_nc": 0, "out_nc": 0, "observed_us": 0, "gap_us": 0}
        )
        seen = readings.setdefault(second, ([], []))
        entry["count"] += 1
        entry["celsius"] = celsius
        if k:
            entry["gap_us" if gaps[k] else "observed_us"] += t - rows[k - 1][0]
        for value, values in zip((volts, amps), seen, strict=True):
            if not math.isnan(value):
                values.append(value)
    for t, charge in slow_charges_nc(block, gap_us):
        table[t // SECOND_US]["in_nc" if charge > 0 else "out_nc"] += abs(charge)
    for second, both in readings.items():
        for name, values in zip(("volts", "amps"), both, strict=True):
            table[second][name] = sum(values) / len(values) if values else math.nan
            table[second][f"{name}_min"] = min(values, default=math.nan)
            table[second][f"{name}_max"] = max(values, default=math.nan)
    return [table[second] for second in sorted(table)]


def slow_rate_hz(block: Block) -> tuple[float | None, float | None]:
    """Median and highest rate: samples of each second, or where that is one, the step from second to second."""
    seconds: dict[int, int] = {}
    for t, *_ in rows_of(block):
        seconds[t // SECOND_US] = seconds.get(t // SECOND_US, 0) + 1
    counts, times = sorted(seconds.values()), sorted(seconds)
    steps = sorted(b - a for a, b in itertools.pairwise(times))
    if sum(counts) < 2:
        return None, None
    usual = statistics.median_low(counts)
    median = float(usual) if usual > 1 else (1.0 / statistics.median_low(steps) if steps else None)
    highest = float(counts[-1]) if counts[-1] > 1 else (1.0 / steps[0] if steps else None)
    return median, highest


def slow_signs(seconds: list[dict[str, float]], scale: float = 1.0) -> dict[str, int]:
    """Seconds that speak for the sign as logged, and for the reverse."""
    found = dict.fromkeys(
        [f"{where}_{way}" for where in ("regulated", "standing", "crank") for way in ("plain", "reversed")], 0
    )
    for s in seconds:
        if s["volts"] >= 13.8 * scale:
            found["regulated_plain"] += s["amps"] > 0.5
            found["regulated_reversed"] += s["amps"] < -0.5
        if s["volts"] <= 12.9 * scale:
            found["standing_plain"] += s["amps"] < -0.004
            found["standing_reversed"] += s["amps"] > 0.004
        if s["volts_min"] <= 11.95 * scale:
            found["crank_plain"] += s["amps_min"] < -50.0
            found["crank_reversed"] += s["amps_max"] > 50.0
    return found


def slow_excess_as(seconds: list[tuple[int, float]], first: int, last: int, level_a: float) -> float:
    """Charge of an excursion above a level, As: trapezoids of the excess from the row before to the row behind."""
    total = 0.0
    for (s0, d0), (s1, d1) in itertools.pairwise(seconds):
        if first <= s1 and s0 <= last:
            total += (s1 - s0) * ((d0 - level_a) + (d1 - level_a)) / 2
    return total


def slow_spans(t_us: list[int], on: list[bool], pause_us: float) -> list[tuple[int, int]]:
    """First and last row of each stretch that is on, pauses up to `pause_us` bridged."""
    spans: list[tuple[int, int]] = []
    for k, is_on in enumerate(on):
        if not is_on:
            continue
        if spans and t_us[k] - t_us[spans[-1][1]] <= pause_us:
            spans[-1] = (spans[-1][0], k)
        else:
            spans.append((k, k))
    return spans


def slow_power(values: list[float], hz: float, line_hz: float) -> float:
    """Power of one line of the Hann-windowed spectrum, by the definition of the Fourier transform."""
    n, mean = len(values), sum(values) / len(values)
    total = 0j
    for k, value in enumerate(values):
        window = 0.5 - 0.5 * math.cos(2 * math.pi * k / (n - 1))
        total += (value - mean) * window * cmath.exp(-2j * math.pi * line_hz * k / hz)
    return abs(total) ** 2
