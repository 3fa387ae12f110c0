"""The morning and the weekly summary in words, short enough for a phone: what was, and what to do, or nothing.

They show what the result document holds and compute nothing new. What is unknown is said to be.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise
from statistics import median

from monitor.assess.confirm import Confirmation
from monitor.assess.nights import NIGHT_FROM_H, NIGHT_TO_H, Night, nights_of
from monitor.base.alarms import Alarm
from monitor.base.errors import printable
from monitor.base.fields import EPOCH
from monitor.base.results import Drive, Result, Stand, WakeUp
from monitor.views.confirm import ANSWERS
from monitor.views.drive import FAULTS
from monitor.views.figures import quantity_name
from monitor.views.letters import RANK, SUBJECT_CHARS, Words
from monitor.views.verdict import MEANING, NAMES
from monitor.views.words import LocalTime, amps, charge, count, joined, length, plain, volts

MORNING_CHARS = 600  # our choice: what a phone shows without turning a page
WEEKLY_CHARS = 1500  # our choice: a page of a mail
DAY_US = 86_400_000_000
HOUR_US = 3_600_000_000
SURE = 0.85  # from this confidence on a verdict is worth a person's morning; "very likely" in the report
RHYTHM = 0.2  # our choice: wake-ups have a rhythm when half of their distances lie within this share of the median
RHYTHM_LEAST = 4  # wake-ups from which a rhythm can be told; our choice
LONG_US = 36 * 3_600_000_000  # of a stand that began before, only the wake-ups of the last day are counted; our choice
TEXT_CHARS = 200  # of one piece of advice; our choice


def morning_words(result: Result, now_us: int, zone: tzinfo | None) -> Words:
    """The last night and the day before, of the document as it stands at `now_us`; at most MORNING_CHARS."""
    time = LocalTime(zone)
    since = now_us - DAY_US
    head = [_night_sentence(result, now_us, time)]
    body = [_rest_sentence(result, now_us, time), _drives_sentence(result, since, now_us)]
    alarms = _standing(result)
    found = "" if alarms or not _named(result) else _verdict(result)
    tail = [_alarms_sentence(alarms, time, now_us), found, _to_do(result, alarms, now_us)]
    subject = _subject(result.vehicle, f"the night to {time.day(now_us)[:-5]}", _in_short(result, alarms, now_us))
    return Words(subject, _fitted(head, body, tail, MORNING_CHARS, " "))


def weekly_words(result: Result, now_us: int, zone: tzinfo | None, repair: Confirmation | None = None) -> Words:
    """The last seven days: each night, charge, battery, repair, alarms, verdict, what to do; at most WEEKLY_CHARS."""
    time = LocalTime(zone)
    since = now_us - 7 * DAY_US
    head = [f"Week from {time.day(since)[:-5]} to {time.day(now_us)[:-5]}.", *_nights(result, since, zone, time)]
    body = [_week_drives(result, since), _balance(result, since, time), _battery(result), _repair(repair)]
    alarms = _standing(result)
    raised = [alarm for alarm in result.alarms if alarm.raised >= since]
    told = f"{count(len(raised), 'alarm')} this week." if raised else ""
    tail = [told, _alarms_sentence(alarms, time, now_us), _verdict(result), _to_do(result, alarms, now_us)]
    subject = _subject(result.vehicle, f"the week to {time.day(now_us)[:-5]}", _in_short(result, alarms, now_us))
    return Words(subject, _fitted(head, body, tail, WEEKLY_CHARS, "\n"))


# --- the night --------------------------------------------------------------------------------------------------------


def _night_sentence(result: Result, now_us: int, time: LocalTime) -> str:
    if result.log.last is None or result.log.last < now_us - DAY_US:
        since = "" if result.log.last is None else f" since {time.moment(result.log.last)}"
        return f"Nothing was recorded{since or ' yet'}: the night is unknown."
    stand = _night(result, now_us, time)
    if stand is None:
        return "The vehicle was not seen standing in the night."
    until = "still standing" if stand.end is None else f"until {time.beside(stand.end, now_us)}"
    said = f"Stood from {time.beside(stand.start, now_us)}, {until}: {_slept(stand, result, time)}"
    said += _woke(stand, result, now_us)
    if stand.level_steps:
        last = stand.level_steps[-1]
        way = "rose" if last.to_a > last.from_a else "fell"
        said += f"; the level {way} to {amps(last.to_a)} at {time.beside(last.at, now_us)} and stayed"
    if stand.charge_out_ah is not None and "amps" in result.log.channels:
        said += f"; {charge(stand.charge_out_ah)} went out"
    if stand.charges:
        said += "; it was on a charger"
    if stand.failed_starts:
        said += f"; {count(len(stand.failed_starts), 'failed start')}"
    if stand.unobserved_s >= 60.0:
        said += f"; {length(stand.unobserved_s)} not observed"
    return f"{said}."


def _night(result: Result, now_us: int, time: LocalTime) -> Stand | None:
    """The stand that holds most of last night; of a day without night hours the longest of the last 24 h."""
    midnight = time.at(now_us).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)

    def at(moment: datetime) -> int:
        return (moment.replace(tzinfo=time.zone).astimezone(UTC) - EPOCH) // timedelta(microseconds=1)

    night = at(midnight - timedelta(hours=24 - NIGHT_FROM_H)), at(midnight + timedelta(hours=NIGHT_TO_H))
    for start, end in (night, (now_us - DAY_US, now_us)):
        held = [(min(_end(stand, now_us), end) - max(stand.start, start), stand) for stand in result.stands]
        longest = max(held, key=lambda pair: pair[0], default=None)
        if longest is not None and longest[0] >= HOUR_US:
            return longest[1]
    return None


def _end(stand: Stand, now_us: int) -> int:
    return now_us if stand.end is None else stand.end


def _slept(stand: Stand, result: Result, time: LocalTime) -> str:
    if "amps" not in result.log.channels:
        return "sleep current unknown, the log has no current"
    if stand.settled_at is None:
        return "did not fall asleep as far as was seen, sleep current unknown"
    after = f" after {_minutes(stand.time_to_sleep_s)}" if stand.time_to_sleep_s is not None else ""
    when = f"slept at {time.beside(stand.settled_at, stand.start)}{after}"
    if stand.sleep_current_a is None:
        return f"{when}, sleep current unknown"
    if stand.sleep_current_a < 0:
        return f"{when} with {amps(-stand.sleep_current_a)} flowing into the battery"
    return f"{when} at {amps(stand.sleep_current_a)}"


def _woke(stand: Stand, result: Result, now_us: int) -> str:
    if "amps" not in result.log.channels or stand.settled_at is None:
        return ""
    long = stand.start < now_us - LONG_US
    wakes = [wake for wake in stand.wake_ups if not long or wake.start >= now_us - DAY_US]
    period = " in the last 24 h" if long else ""
    if not wakes and not (stand.wake_ups_uncounted and not long):
        return f"; nothing woke it{period}" if stand.sleep_current_a is not None else ""
    least = "at least " if stand.wake_ups_uncounted else ""
    told = f"; woke {least}{_times(len(wakes))}{period}"
    rhythm = _rhythm(wakes)
    if rhythm is not None:
        told += f", about every {_minutes(rhythm)}"
    if wakes:
        typical = median((wake.end - wake.start) / 1e6 for wake in wakes)
        told += f", for {_minutes(typical)} at {amps(median(wake.excess_a for wake in wakes))} more"
    if wakes and _all_normal(wakes, result):
        told += " (a normal pattern)"
    return told


def _all_normal(wakes: list[WakeUp], result: Result) -> bool:
    normal = {group.group for group in result.wake_up_groups if group.pattern and not group.growing}
    return all(wake.group in normal for wake in wakes)


def _times(number: int) -> str:
    return "once" if number == 1 else count(number, "time")


def _rhythm(wakes: list[WakeUp]) -> float | None:
    """The usual distance of wake-ups in s, where they have one."""
    if len(wakes) < RHYTHM_LEAST:
        return None
    apart = [(b.start - a.start) / 1e6 for a, b in pairwise(wakes)]
    middle = median(apart)
    near = sum(abs(one - middle) <= RHYTHM * middle for one in apart)
    return middle if near > len(apart) / 2 else None


def _minutes(seconds: float) -> str:
    """A length of time to the minute, from two minutes on."""
    return length(round(seconds / 60) * 60 if seconds >= 120 else seconds)


def _rest_sentence(result: Result, now_us: int, time: LocalTime) -> str:
    stand = _night(result, now_us, time)
    if stand is None:
        return ""
    rest = stand.rest
    if rest.volts is None:
        return "Rest voltage unknown."
    settled = {True: "settled", False: "not settled yet", None: "unknown whether settled"}[rest.settled]
    if rest.state_of_charge is None:
        full = "state of charge unknown"
    else:
        full = f"about {rest.state_of_charge * 100:.0f} % charged"
    return f"Rest voltage {volts(rest.volts)}, {settled}; {full}."


# --- drives, charge, battery ------------------------------------------------------------------------------------------


def _drives_sentence(result: Result, since: int, now_us: int) -> str:
    drives = [drive for drive in result.drives if (drive.end or now_us) > since]
    if not drives:
        return "No drive in the last 24 h."
    into = [drive.charge_in_ah for drive in drives]
    told = f"{count(len(drives), 'drive')} in the last 24 h"
    known = [one for one in into if one is not None]
    told += f", {charge(sum(known))} in" if len(known) == len(into) else ", charge unknown"
    return f"{told}; {_faults(drives)}."


def _faults(drives: list[Drive]) -> str:
    found = sorted({fault for drive in drives for fault in drive.charging.faults})
    if found:
        some = sum(bool(drive.charging.faults) for drive in drives)
        return f"charging fault in {some} of {len(drives)}: {joined([FAULTS[fault] for fault in found])}"
    judged = [drive for drive in drives if drive.charging.volts_median is not None]
    return "no charging fault seen" if judged else "charging unknown"


def _week_drives(result: Result, since: int) -> str:
    drives = [drive for drive in result.drives if drive.start >= since]
    if not drives:
        return "No drive seen."
    return f"{count(len(drives), 'drive')}; {_faults(drives)}."


def _balance(result: Result, since: int, time: LocalTime) -> str:
    first = time.at(since).date().isoformat()
    days = [day for day in result.balance if day.day >= first and day.net_ah is not None]
    if not days:
        return "Charge balance unknown."
    into, out = sum(day.in_ah or 0.0 for day in days), sum(day.out_ah or 0.0 for day in days)
    hidden = sum(day.unobserved_s for day in days)
    also = f"; {length(hidden)} not observed" if hidden >= 60.0 else ""
    return f"Charge: {charge(into)} in, {charge(out)} out, net {'+' if into > out else ''}{charge(into - out)}{also}."


def _battery(result: Result) -> str:
    battery = result.battery
    if battery is None or battery.state_of_charge is None:
        told = "Battery: state of charge unknown"
    else:
        told = f"Battery: about {battery.state_of_charge * 100:.0f} % charged"
    if battery is not None and battery.holds_charge is False:
        told += "; it does not hold its charge"
    if battery is not None and battery.days_to_no_start is not None:
        left = battery.days_to_no_start
        told += f"; left standing it may not start after about {left.value:.0f} days"
        if left.low is not None and left.high is not None:
            told += f" ({left.low:.0f} to {left.high:.0f})"
    return f"{told}."


def _nights(result: Result, since: int, zone: tzinfo | None, time: LocalTime) -> list[str]:
    found = [night for night in nights_of(result, 0, zone or _own_zone(since)) if night.end > since]
    if not found:
        return ["No night was seen from dusk to dawn: how it sleeps is unknown."]
    return [_night_line(night, result, time) for night in found[-7:]]


def _own_zone(t_us: int) -> tzinfo:
    return (EPOCH + timedelta(microseconds=t_us)).astimezone().tzinfo or UTC


def _night_line(night: Night, result: Result, time: LocalTime) -> str:
    level = "sleep current unknown" if night.sleep_ma is None else amps(night.sleep_ma / 1000)
    if night.wake_ups is None:
        woken = "wake-ups unknown"
    elif night.wake_ups:
        woken = f"woke {_times(night.wake_ups)}"
    elif any(night.start <= wake.start < night.end for stand in result.stands for wake in stand.wake_ups):
        woken = "only normal wake-ups"
    else:
        woken = "not woken"
    return f"{time.day(night.start)[:-5]}: {level}, {woken}."


def _repair(repair: Confirmation | None) -> str:
    if repair is None:
        return ""
    more = ""
    if repair.answer == "not_yet" and repair.further_nights:
        more = f" It takes {count(repair.further_nights, 'more quiet night')}."
    return f"Repair: {ANSWERS[repair.answer]}{more}"


# --- alarms, verdict, what to do --------------------------------------------------------------------------------------


def _standing(result: Result) -> list[Alarm]:
    """Alarms that still stand, the most urgent first."""
    standing = [alarm for alarm in result.alarms if alarm.state in ("unacknowledged", "acknowledged")]
    return sorted(standing, key=lambda alarm: (RANK[alarm.priority], alarm.raised))


def _alarms_sentence(alarms: list[Alarm], time: LocalTime, now_us: int) -> str:
    if not alarms:
        return "No alarm stands."
    told = [f"{quantity_name(alarm.quantity)} since {time.beside(alarm.since, now_us)}" for alarm in alarms[:3]]
    more = f" and {len(alarms) - 3} more" if len(alarms) > 3 else ""
    return f"{'Alarm' if len(alarms) == 1 else 'Alarms'}: {', '.join(told)}{more}."


def _named(result: Result) -> bool:
    verdict = result.verdict
    return verdict is not None and verdict.cause not in ("sound", "undetermined") and verdict.confidence >= SURE


def _verdict(result: Result) -> str:
    """The verdict, and on how many days it rests."""
    verdict, log = result.verdict, result.log
    if verdict is None or log.first is None or log.last is None:
        return ""
    days = max(round((log.last - log.first) / DAY_US), 1)
    told = f"Verdict on {count(days, 'day')}: {MEANING[verdict.cause]}"
    if verdict.cause not in ("sound", "undetermined"):
        told = f"{told.rstrip('.')} ({min(verdict.confidence, 0.99) * 100:.0f} % sure)."
    return told


def _seen(result: Result, now_us: int) -> bool:
    return result.log.last is not None and result.log.last >= now_us - DAY_US


def _to_do(result: Result, alarms: list[Alarm], now_us: int) -> str:
    """What to do, or that there is nothing: for the most urgent alarm, else for the verdict."""
    if not _seen(result, now_us):
        return "To do: see to the logger, its cable and its supply."
    if alarms:
        return f"To do: {_advice(alarms[0].response)}"
    verdict = result.verdict
    if verdict is None or verdict.cause == "sound":
        return "Nothing to do."
    if verdict.cause == "undetermined":
        return "Too little was seen for a verdict; keep logging."
    if not _named(result):
        return f"A suspicion so far ({NAMES[verdict.cause]}, {verdict.confidence * 100:.0f} % sure); keep logging."
    return f"To do: {_advice(verdict.next[0])}" if verdict.next else "To do: see the report."


def _in_short(result: Result, alarms: list[Alarm], now_us: int) -> str:
    if not _seen(result, now_us):
        return "nothing recorded"
    if alarms:
        return count(len(alarms), "alarm")
    if result.verdict is not None and _named(result):
        return NAMES[result.verdict.cause]
    return "in order" if result.verdict is not None and result.verdict.cause == "sound" else "no alarm"


def _advice(text: str) -> str:
    """The first sentences that fit."""
    text = printable(plain(text))
    if len(text) <= TEXT_CHARS:
        return text
    whole = text[:TEXT_CHARS].rfind(". ")
    return text[: whole + 1] if whole > 0 else f"{text[: TEXT_CHARS - 1].rstrip()}…"


def _subject(vehicle: str, what: str, short: str) -> str:
    rest = plain(f": {what}: {short}")
    name = printable(vehicle)
    room = SUBJECT_CHARS - len(rest)
    return (name if len(name) <= room else f"{name[: room - 1].rstrip()}…") + rest


def _fitted(head: list[str], body: list[str], tail: list[str], most: int, between: str) -> str:
    """All sentences, or without the last of the body until they fit; what to do stays."""
    body = list(body)
    while True:
        text = plain(between.join(one for one in (*head, *body, *tail) if one))
        if len(text) <= most or not body:
            return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"
        body.pop()
