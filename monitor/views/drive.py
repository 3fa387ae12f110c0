"""One drive in sentences: the crank, what the charging system did, charge, engine stops."""

from __future__ import annotations

from monitor.base.results import ChargePhase, Charging, ChargingFault, Drive, Log, Regulation
from monitor.views.shared import crank_figures, unobserved
from monitor.views.words import NB, amps, charge, count, joined, length, rate, volts

COARSE_HZ = 5.0  # our choice: the dip when a starter engages lasts some 50 ms; a slower log can step over it

REGULATED: dict[Regulation, str] = {
    "fixed": "held at a fixed voltage",
    "compensated": "following the temperature",
    "managed": "commanded by the engine computer",
    "none": "not regulated",
    "unknown": "kind of regulation unknown",
}
FAULTS: dict[ChargingFault, str] = {
    "no_charge": "no charge",
    "undervoltage": "voltage too low",
    "overvoltage": "voltage too high",
    "unstable": "voltage unsteady",
    "ripple": "too much ripple (rectifier)",
    "late": "charging began late",
}
PHASES: dict[ChargePhase, str] = {
    "first_recharge": "first recharge",
    "regulated": "regulated",
    "reduced": "reduced",
    "overrun": "raised on overrun",
}


def drive_sentences(drive: Drive, log: Log) -> list[str]:
    """Sentences about the drive; faults come by themselves in `drive_faults`."""
    sentences = [_crank(drive, log), _charging(drive.charging), _phases(drive.charging), _charge(drive, log)]
    if drive.stops:
        together = sum(stop.end - stop.start for stop in drive.stops) / 1e6
        sentences.append(f"{count(len(drive.stops), 'engine stop')} on the way, {length(together)} in all.")
    sentences += unobserved(drive.unobserved_s)
    return [sentence for sentence in sentences if sentence]


def drive_faults(drive: Drive) -> list[str]:
    """Charging faults, in words."""
    found = [FAULTS[fault] for fault in drive.charging.faults]
    return [f"Charging fault: {joined(found)}."] if found else []


def _crank(drive: Drive, log: Log) -> str:
    if drive.crank is None:
        return "" if drive.start == log.first else "Starter not seen: between two samples, or pushed."
    coarse = drive.crank.sampled_hz
    caution = f" Logged at {rate(coarse)}: the true minimum may lie lower." if coarse and coarse < COARSE_HZ else ""
    return f"Cranked {crank_figures(drive.crank)}.{caution}"


def _charging(charging: Charging) -> str:
    if charging.volts_median is None:
        return "Charging unknown: too little of the drive was logged."
    text = f"Engine running at {volts(charging.volts_median)}"
    if charging.volts_p05 is not None and charging.volts_p95 is not None:
        text += f" (mostly {charging.volts_p05:.2f} to {charging.volts_p95:.2f}{NB}V)"
    text += f", {REGULATED[charging.regulation]}"
    if charging.delay_s is not None:
        text += f"; charging began {length(charging.delay_s)} after the start"
    if charging.tail_amps is not None:
        text += f"; {amps(charging.tail_amps)} into the battery at the end"
    if charging.ripple_mv is not None:
        text += f"; ripple {charging.ripple_mv:.0f}{NB}mV"
    return text + "."


def _phases(charging: Charging) -> str:
    parts = []
    for phase, name in PHASES.items():
        spans = [span for span in charging.phases if span.phase == phase]
        if not spans:
            continue
        lasting = length(sum(span.end - span.start for span in spans) / 1e6)
        low, high = min(span.volts for span in spans), max(span.volts for span in spans)
        level = f"{low:.2f} to {high:.2f}{NB}V" if high - low >= 0.01 else volts(low)
        times = f" in {len(spans)} spells" if len(spans) > 1 else ""
        parts.append(f"{name} {lasting}{times} at {level}")
    return f"Phases: {'; '.join(parts)}." if len(parts) > 1 else ""


def _charge(drive: Drive, log: Log) -> str:
    if drive.charge_in_ah is None or drive.charge_out_ah is None:
        return "Charge in and out unknown" + ("." if "amps" in log.channels else ": the log has no current.")
    return f"{charge(drive.charge_in_ah)} went into the battery, {charge(drive.charge_out_ah)} out."
