"""What the limits look at: one function a quantity, from what is open now and the last minute of data.

To add a quantity: a row in quantities.py; here a function `_name(look, limit)` that gives `Seen`, and its name in
MINUTELY (each look), EVENTS (only when something new happened) or, if it needs the assessment, in hourly.py. A value
that is not known, or does not apply now, is NOTHING: the alarm stays as it is. A figure that still grows (a time that
counts up, the charge of an open stand) is `at_least`: it can pass a high setpoint, but not show that all is well.
The grace of a limit (`after`) and the suppression while working on the car are not the functions' business.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from monitor.base.fields import iso
from monitor.base.results import Crank, Drive, Stand, WakeUp
from monitor.base.samples import SECOND_US, Seconds
from monitor.detect.charging_limits import LATE_A, SLOW_SAMPLES
from monitor.detect.facts import Facts
from monitor.detect.held import AWAKE_A, AWAKE_S, ESTABLISH_S, LOADED_A, LOADED_S
from monitor.detect.now import DriveNow, StandNow
from monitor.detect.plateaus import FRAME_S
from monitor.limits.rules import Limit

AH_PER_NC = 1e-9 / 3600.0
MINUTE_US = 60 * SECOND_US
HOUR_US = 3600 * SECOND_US
SIGN_A, SIGN_V = 0.3, 12.8  # signs of charging: a current in, or volts that no loaded battery shows (economy: 12.9 V)
PULSE_V, PULSE_ROWS = 13.9, 3  # an engine-managed alternator that fills up gives so much; seconds of it, our choice
MEAN_LEAST_US = HOUR_US  # a mean over less is that of one wake-up; our choice
RATE_LEAST_US = HOUR_US  # no rate of wake-ups from less sleep; our choice
RATE_WINDOW_S = 6 * 3600.0  # where the limit says none; our choice
MOST_MINUTES = 60  # of a drive that wait for certainty; the engine decides within 20
FEWEST_WAKES = 3  # fewer make no rate; our choice
FEWEST_ROWS = 3  # of a slow logger's minute


@dataclass(frozen=True, slots=True)
class Seen:
    """A value in the quantity's base unit; None: not known or not applicable. `at_least`: it still grows.

    earlier   values that have only now become certain, each with its time (µs); `value` is not used then
    waits     it will be known for now, but later: time does not go on for the alarm
    """

    value: float | None = None
    at_least: bool = False
    celsius: float | None = None
    earlier: tuple[tuple[int, float | None], ...] = ()
    waits: bool = False


NOTHING = Seen()


@dataclass(slots=True)
class Noted:
    """What the observer must remember from look to look; all of it small.

    sign_us   last sign of charging in the drive that began at drive_us
    first_sign_us   when the battery first carried little or nothing in it
    charging  volts of the drive's minutes of which it is not certain yet that the engine ran: end (µs), median; None:
              the engine stood for half of it
    told_us   end of the last minute that was certain, in the drive
    means     by limit: beginning of its stand and, where its mean begins, time, net charge out and unobserved time
    crank_us, failed, wake_us   last crank, failed start and wake-up that were looked at
    """

    drive_us: int | None = None
    sign_us: int | None = None
    first_sign_us: int | None = None
    charging: list[tuple[int, float | None]] = field(default_factory=list)
    told_us: int | None = None
    means: dict[str, tuple[int, int, int, int]] = field(default_factory=dict)
    crank_us: int = -1
    failed_us: int = -1
    wake_us: int = -1


@dataclass(slots=True)
class Look:
    """One look: the time (µs), what is open, the seconds of the last minute, what has just ended, and the memory.

    begun_us   from when the grace of a limit counts: the beginning of what is open, or the end of the last charge
               within a stand, since a vehicle that was charged falls asleep anew
    """

    t_us: int
    open: StandNow | DriveNow | None
    recent: Seconds
    ended: list[Stand | Drive]
    facts: Facts
    noted: Noted
    begun_us: int | None = None
    new_cranks: list[Crank] = field(default_factory=list)
    new_wakes: list[WakeUp] = field(default_factory=list)
    charging: Seen = NOTHING

    def __post_init__(self) -> None:
        self.begun_us = self.open.start_us if self.open is not None else None
        if isinstance(self.open, StandNow) and self.open.charged_us is not None:
            self.begun_us = max(self.open.start_us, self.open.charged_us)
        if isinstance(self.open, DriveNow):
            self._signs(self.open)
        self.charging = self._charging()
        self._events()

    @property
    def stand(self) -> StandNow | None:
        """The open stand, if there is one."""
        return self.open if isinstance(self.open, StandNow) else None

    @property
    def drive(self) -> DriveNow | None:
        """The open drive, if there is one."""
        return self.open if isinstance(self.open, DriveNow) else None

    def celsius(self) -> float | None:
        """The last temperature."""
        known = self.recent.celsius[np.isfinite(self.recent.celsius)]
        return float(known[-1]) if len(known) else None

    def _signs(self, drive: DriveNow) -> None:
        noted, scale = self.noted, self.facts.scale
        if noted.drive_us != drive.start_us:
            noted.drive_us, noted.sign_us, noted.first_sign_us = drive.start_us, None, None
        recent = self.recent
        sign = (recent.amps >= SIGN_A) | (recent.volts >= SIGN_V * scale)
        runs = recent.second >= drive.runs_us // SECOND_US
        second = recent.second[sign & runs]
        if len(second):
            noted.sign_us = int(second[-1] + 1) * SECOND_US
        relieved = recent.second[(sign | (recent.amps > LATE_A)) & runs]
        if len(relieved) and noted.first_sign_us is None:
            noted.first_sign_us = max(int(relieved[0]) * SECOND_US, drive.runs_us)

    def _charging(self) -> Seen:
        """Charging volts minute by minute, told once it is certain that the engine ran (20 minutes late at most)."""
        noted, drive = self.noted, self.drive
        if drive is not None:
            certain_us = self.t_us if not drive.charged and drive.loaded else drive.proved_us
            noted.charging.append((self.t_us, self._running_volts(drive)))
        else:
            certain_us = self.open.start_us if self.open is not None else 0
        certain_us += MINUTE_US // 2
        told = tuple(minute for minute in noted.charging if minute[0] <= certain_us)
        noted.charging = [minute for minute in noted.charging[-MOST_MINUTES:] if minute[0] > certain_us]
        noted.told_us = told[-1][0] if told else noted.told_us
        if drive is None:  # what is behind the last certain minute was no driving
            last_us, noted.charging, noted.told_us = noted.told_us, [], None
            return NOTHING if last_us is None else Seen(earlier=(*told, (last_us, None)))
        if not told:
            return Seen(waits=True) if noted.charging else NOTHING
        return Seen(earlier=told, celsius=self.celsius())

    def _running_volts(self, drive: DriveNow) -> float | None:
        """Median of the last minute; where it charges in pulses, as engine-managed alternators do, that of the pulses.

        None in a minute that was half a stop, or before the engine ran.
        """
        recent, scale = self.recent, self.facts.scale
        running = recent.second * SECOND_US >= drive.runs_us
        if drive.stop_us is not None:
            start, end = drive.stop_us
            running &= (recent.second * SECOND_US < start) | (recent.second * SECOND_US >= end)
        volts = recent.volts[running & np.isfinite(recent.volts)]
        if 2 * len(volts) < len(recent) or not len(volts):
            return None
        pulses = volts[volts >= PULSE_V * scale]
        few = PULSE_ROWS if len(volts) > SLOW_SAMPLES else 1
        return float(np.median(volts if 2 * len(pulses) >= len(volts) or len(pulses) < few else pulses))

    def _events(self) -> None:
        """Cranks and wake-ups that were not looked at yet, those of a stand or drive that has ended too."""
        cranks = [d.crank for d in self.ended if isinstance(d, Drive) and d.crank is not None]
        cranks += [c for s in self.ended if isinstance(s, Stand) for c in s.failed_starts]
        wakes = [w for s in self.ended if isinstance(s, Stand) for w in s.wake_ups]
        if isinstance(self.open, StandNow):
            cranks, wakes = cranks + self.open.failed, wakes + self.open.wake_ups
        elif self.open is not None and self.open.crank is not None:
            cranks = [*cranks, self.open.crank]
        self.new_cranks = sorted((c for c in cranks if c.start > self.noted.crank_us), key=lambda c: c.start)
        self.new_wakes = [w for w in wakes if w.start > self.noted.wake_us]
        if self.new_cranks:
            self.noted.crank_us = self.new_cranks[-1].start
        if self.new_wakes:
            self.noted.wake_us = max(w.start for w in self.new_wakes)

    def why(self) -> str:
        """What a passage that is seen now rests on: a sentence."""
        if self.stand is not None:
            words = f"Standing since {iso(self.stand.start_us)}"
            if self.stand.settled_us is not None and self.stand.level_a is not None:
                words += f", asleep since {iso(self.stand.settled_us)} at {self.stand.level_a * 1000:.1f} mA"
            return f"{words}."
        return f"Engine running since {iso(self.drive.runs_us)}." if self.drive is not None else ""


def _charging_volts(look: Look, limit: Limit) -> Seen:
    return look.charging


def _uncharged(look: Look, limit: Limit) -> Seen:
    drive, sign = look.drive, look.noted.sign_us
    if drive is None:
        return NOTHING
    if sign is not None and sign > look.t_us - MINUTE_US:
        return Seen(0.0)
    if not drive.loaded:
        return NOTHING
    return Seen((look.t_us - (drive.runs_us if sign is None else sign)) / SECOND_US, at_least=True)


def _charging_delay(look: Look, limit: Limit) -> Seen:
    """Known when charging has come; until then `uncharged` counts. An economy mode that relieves the battery is one."""
    drive, sign = look.drive, look.noted.first_sign_us
    if drive is None or drive.delay_s is None:
        return NOTHING
    return Seen(drive.delay_s if sign is None else min(drive.delay_s, (sign - drive.runs_us) / SECOND_US))


def _ripple(look: Look, limit: Limit) -> Seen:
    return NOTHING if look.drive is None else Seen(look.drive.ripple_mv)


def _charging_unsteady(look: Look, limit: Limit) -> Seen:
    return NOTHING if look.drive is None else Seen(look.drive.hunting_s)


def _sleep_current(look: Look, limit: Limit) -> Seen:
    return NOTHING if look.stand is None else Seen(look.stand.level_a)


def _standing_current(look: Look, limit: Limit) -> Seen:
    drain = _recent_drain(look)
    return Seen(float(np.quantile(drain, 0.25))) if drain is not None else NOTHING


def _recent_drain(look: Look) -> np.typing.NDArray[np.float64] | None:
    """Drains of the seconds of the last minute, of this stand; None where too few are known."""
    if look.stand is None:
        return None
    drain = -look.recent.amps[look.recent.second * SECOND_US >= look.stand.start_us]
    drain = drain[np.isfinite(drain)]
    return drain if len(drain) >= min(FEWEST_ROWS, len(look.recent)) and len(drain) else None


def _mean_night_current(look: Look, limit: Limit) -> Seen:
    """Since asleep or, if it does not fall asleep, since the limit's grace ran out."""
    stand = look.stand
    if stand is None or not stand.amps:
        return NOTHING
    grace_us = stand.start_us + round(limit.after_s * SECOND_US)
    begun = look.noted.means.get(limit.name)
    net = stand.out_nc - stand.in_nc
    fell_lower = begun is not None and stand.settled_us is not None and stand.settled_us > begun[1]
    if begun is None or begun[0] != stand.start_us or fell_lower:  # what came before was the shutdown
        if stand.settled_us is not None or look.t_us >= grace_us:
            look.noted.means[limit.name] = (stand.start_us, look.t_us, net, stand.gap_us)
        return NOTHING
    _, since_us, since_nc, since_gap = begun
    seen_us = look.t_us - since_us - (stand.gap_us - since_gap)
    if seen_us < max(MEAN_LEAST_US, round((limit.window_s or 0.0) * SECOND_US)):
        return NOTHING
    return Seen((net - since_nc) * 1e-9 / (seen_us / SECOND_US))


def _time_to_sleep(look: Look, limit: Limit) -> Seen:
    """While it counts, so much less as a level needs to be known: it may have fallen asleep meanwhile."""
    stand = look.stand
    if stand is None or not stand.amps:
        return NOTHING
    if stand.settled_us is not None:
        return Seen((stand.settled_us - stand.start_us) / SECOND_US, at_least=not stand.seen)
    drain = _recent_drain(look)
    level = float(np.median(drain)) if drain is not None else 0.0
    needed = ESTABLISH_S if level <= AWAKE_A else AWAKE_S if level <= LOADED_A else LOADED_S
    counted = (look.t_us - stand.start_us - stand.gap_us) / SECOND_US - FRAME_S - needed
    return Seen(counted, at_least=True) if counted > 0 else NOTHING


def _wake_up_rate(look: Look, limit: Limit) -> Seen:
    stand = look.stand
    if stand is None or stand.settled_us is None:
        return NOTHING
    window_us = round((limit.window_s or RATE_WINDOW_S) * SECOND_US)
    since = max(stand.settled_us, look.t_us - window_us)
    if look.t_us - since < RATE_LEAST_US:
        return NOTHING
    count = sum(1 for wake in reversed(stand.wake_ups) if wake.start >= since)
    return Seen(count / ((look.t_us - since) / HOUR_US) if count >= FEWEST_WAKES else 0.0)


def _wake_up_length(look: Look, limit: Limit) -> Seen:
    stand = look.stand
    if stand is None or stand.level_a is None:
        return NOTHING
    if stand.awake_us is None:
        return Seen(0.0)
    return Seen((look.t_us - stand.awake_us) / SECOND_US, at_least=True)


def _night_charge(look: Look, limit: Limit) -> Seen:
    ended = [s.charge_out_ah for s in look.ended if isinstance(s, Stand)]
    if look.stand is None:
        return Seen(ended[-1]) if ended else NOTHING
    return Seen(look.stand.out_nc * AH_PER_NC, at_least=True) if look.stand.amps else NOTHING


def _wake_up_charge(look: Look, limit: Limit) -> Seen:
    return Seen(max(w.charge_ah for w in look.new_wakes)) if look.new_wakes else NOTHING


def _crank_volts_min(look: Look, limit: Limit) -> Seen:
    """The lowest of the new cranks, under the starter's steady load."""
    known = [(volts, c.celsius) for c in look.new_cranks if (volts := c.volts_load) is not None]
    if not known:
        return NOTHING
    volts, celsius = min(known, key=lambda k: k[0])
    return Seen(volts, celsius=celsius)


def _crank_duration(look: Look, limit: Limit) -> Seen:
    known = [c.duration_s for c in look.new_cranks if c.duration_s is not None]
    return Seen(max(known)) if known else NOTHING


def _failed_starts(look: Look, limit: Limit) -> Seen:
    ended = [float(len(s.failed_starts)) for s in look.ended if isinstance(s, Stand)]
    if look.stand is None:
        return Seen(ended[-1]) if ended else NOTHING
    return Seen(float(len(look.stand.failed)), at_least=True)


OF_ENDED = ("night_charge", "rest_volts", "decay", "state_of_charge")  # told once more when the stand has ended
Function = Callable[[Look, Limit], Seen]

MINUTELY: dict[str, Function] = {
    "charging_volts": _charging_volts,
    "charging_delay": _charging_delay,
    "uncharged": _uncharged,
    "charging_unsteady": _charging_unsteady,
    "ripple": _ripple,
    "sleep_current": _sleep_current,
    "standing_current": _standing_current,
    "mean_night_current": _mean_night_current,
    "time_to_sleep": _time_to_sleep,
    "wake_up_rate": _wake_up_rate,
    "wake_up_length": _wake_up_length,
    "night_charge": _night_charge,
}
EVENTS: dict[str, Function] = {
    "wake_up_charge": _wake_up_charge,
    "crank_volts_min": _crank_volts_min,
    "crank_duration": _crank_duration,
    "failed_starts": _failed_starts,
}
