"""Numbers, lengths and times as a person reads them: few digits, a unit that fits, local time.

Number and unit are kept on one line by a no-break space, which the page turns into a space when it prints.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo

from monitor.base.fields import EPOCH

NB = "\N{NO-BREAK SPACE}"


def plain(text: str) -> str:
    """The text with ordinary spaces."""
    return text.replace(NB, " ")


def amps(value: float) -> str:
    """Current with a fitting unit; a hundredth of a milliampere is below any logger's resolution.

    >>> [plain(x) for x in (amps(0.018), amps(0.0006), amps(1.25), amps(412.4), amps(-3.04))]
    ['18 mA', '0.6 mA', '1.25 A', '412 A', '−3.04 A']
    """
    size = abs(value)
    if size < 0.9995:
        return f"{_digits(value * 1000, 1 if size < 0.0995 else 0)}{NB}mA"
    return f"{_digits(value, 2 if size < 9.995 else 1 if size < 99.95 else 0)}{NB}A"


def amps_between(low: float, high: float) -> str:
    """An interval of currents in one unit; one too narrow for the digits shown is said to be so.

    >>> [plain(x) for x in (amps_between(0.0176, 0.0184), amps_between(0.95, 1.2), amps_between(0.02058, 0.0206))]
    ['17.6 to 18.4 mA', '0.95 to 1.20 A', 'narrower than 0.1 mA']
    """
    small = max(abs(low), abs(high)) < 0.9995
    factor, unit = (1000, "mA") if small else (1, "A")
    places = 2 if not small else 1 if max(abs(low), abs(high)) < 0.0995 else 0
    text = between(low * factor, high * factor, places)
    return f"{text if ' to ' in text else f'narrower than {10**-places:g}'}{NB}{unit}"


def between(low: float, high: float, places: int) -> str:
    """Both ends of an interval; one number where both read alike.

    >>> between(20.6, 21.4, 1), between(12.587, 12.591, 2)
    ('20.6 to 21.4', '12.59')
    """
    ends = [f"{end:.{places}f}".replace("-", "−") for end in (low, high)]
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def volts(value: float) -> str:
    """Voltage to the hundredth, as batteries are judged.

    >>> plain(volts(12.583))
    '12.58 V'
    """
    return f"{value:.2f}{NB}V"


def charge(value: float) -> str:
    """Charge with a fitting unit.

    >>> [plain(x) for x in (charge(0.52), charge(0.0021), charge(0.0), charge(18.46))]
    ['0.52 Ah', '2.1 mAh', '0 Ah', '18.5 Ah']
    """
    size = abs(value)
    if 0 < size < 0.0995:
        return f"{_digits(value * 1000, 1 if size < 0.00995 else 0)}{NB}mAh"
    return f"{_digits(value, 2 if size < 9.995 else 1)}{NB}Ah"


def length(seconds: float) -> str:
    """A length of time in its two largest units.

    >>> [plain(x) for x in (length(0.82), length(45), length(85), length(3 * 3600 + 120), length(2 * 86400 + 3 * 3600))]
    ['0.8 s', '45 s', '1 min 25 s', '3 h 2 min', '2 days 3 h']
    """
    if seconds < 9.95:
        return f"{_digits(seconds, 1)}{NB}s"
    whole = round(seconds)
    if whole >= 3600:
        whole = round(whole / 60) * 60  # seconds do not matter beside hours
    days, rest = divmod(whole, 86400)
    hours, rest = divmod(rest, 3600)
    minutes, left = divmod(rest, 60)
    named = [(days, "day" if days == 1 else "days"), (hours, "h"), (minutes, "min"), (left, "s")]
    largest = next((i for i, (count, _) in enumerate(named) if count), 3)
    return " ".join(f"{count}{NB}{unit}" for count, unit in named[largest : largest + 2] if count) or f"0{NB}s"


def count(number: int, one: str, many: str | None = None) -> str:
    """A counted noun.

    >>> [plain(x) for x in (count(1, "gap"), count(6048000, "sample"))]
    ['1 gap', '6,048,000 samples']
    """
    return f"{number:,}{NB}{one if number == 1 else many or one + 's'}"


def rate(hertz: float) -> str:
    """A sampling rate, as a rate or, when slow, as an interval.

    >>> [plain(x) for x in (rate(10), rate(0.2), rate(1))]
    ['10 samples a second', 'one sample every 5 s', '1 sample a second']
    """
    if hertz < 0.95:
        return f"one sample every {length(1 / hertz)}"
    return f"{_digits(hertz, 1)} {'sample' if round(hertz, 1) == 1 else 'samples'} a second"


def joined(parts: list[str]) -> str:
    """Parts as in a sentence.

    >>> joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"])
    ('a', 'a and b', 'a, b and c')
    """
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def _digits(value: float, places: int) -> str:
    """Rounded, without useless zeros behind the point, with a real minus."""
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text.replace("-", "−")


class LocalTime:
    """Turns microseconds UTC into local clock time: in `zone`, or in this computer's zone when it is None.

    `relative`: the log's times count from its start at 0; days are numbered then, and no zone plays a part.

    >>> LocalTime(None, relative=True).moment(61_000_000)
    'Day 1 00:01'
    """

    def __init__(self, zone: tzinfo | None, relative: bool = False) -> None:
        self.zone = UTC if relative else zone
        self.relative = relative

    def at(self, t_us: int) -> datetime:
        """The moment on the local clock."""
        return (EPOCH + timedelta(microseconds=t_us)).astimezone(self.zone)

    def clock(self, t_us: int) -> str:
        """Time of day; the minute is enough here, seconds stand in the document.

        >>> LocalTime(UTC).clock(61_000_000), LocalTime(UTC).day(0)
        ('00:01', 'Thu 1 Jan 1970')
        """
        return f"{self.at(t_us):%H:%M}"

    def day(self, t_us: int) -> str:
        """Day with its weekday; English names whatever the locale."""
        at = self.at(t_us)
        if self.relative:
            return f"Day {(at - EPOCH).days + 1}"
        weekday = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[at.weekday()]
        month = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")[at.month - 1]
        return f"{weekday} {at.day} {month} {at.year}"

    def moment(self, t_us: int) -> str:
        """Day and time of day."""
        return f"{self.day(t_us)} {self.clock(t_us)}"

    def beside(self, t_us: int, near_us: int) -> str:
        """Time of day, with the day when it is another than that of `near_us`."""
        same = self.at(t_us).date() == self.at(near_us).date()
        day = self.day(t_us) if self.relative else self.day(t_us)[:-5]
        return self.clock(t_us) if same else f"{day} {self.clock(t_us)}"

    def label(self, t_us: int) -> str:
        """Which clock the times are of."""
        if self.relative:
            return "since the start of the log"
        if self.zone is not None:
            return str(self.zone)
        return f"{self.at(t_us).tzname()}, this computer's time zone"
